"""Deterministic simulation: whole sessions on the simulated board, drawn from a seed and judged.

    python -m tests.simulation --sessions 20000 --seed 1 --jobs 2    the table; status 1: a rule was broken
    python -m tests.simulation --only 1000042 --trace seed.jsonl     one session again, with all that passed

A session draws a machine, an image, a link and a fault plan (plan.py), then works as a person would: enter,
check, read or run, interrupted or not; then again. Keys and characters are lost, doubled, changed and late
(wire.py); the reset key is pressed, the cable pulled and put back, Ctrl-C struck, the host killed
(cable.py); memory is bad by the board's own table of faults. Some sessions also survey and diagnose memory,
on boards that may hold more than their profile says, or have a one-way link (extras.py, from a stream of
its own: `--plain` leaves that out). Time is virtual. The same seed is the same session.

What is a fair judgement (judge.py)? linktool sees nothing but what the machine prints.

- The moment. A report is judged the moment it is handed over, before anything else may run. Until then only
  the monitor has run, at linktool's own bidding, so what was read still holds: nothing is excused because of
  a reset, or of lines typed after the reading. A program started later, or one that runs wild, may spoil
  memory after the proof; the claim was true when it was made, and the next check is judged anew.
- The truth is what the address would give the processor, with the faults that always act (stuck bits,
  shorts, a missing bank, mirrors): a program will meet the same.
- Cells that change by themselves have no contents to be right about. A cell that now and then reads wrong,
  or forgets, can answer rightly while it is read and wrongly a moment later; nothing can tell. Such a byte
  may be claimed if the processor itself got the right value at its last reading. It is counted ("fickle").
  So are addresses that bad address lines lead to a cell the monitor works in: they change as it reads them.
- A false alarm is judged as well: a byte reported as wrong memory must be wrong, with the value reported,
  under the same rule for fickle cells. "unsteady" and "unread" name no value, and are always allowed.
- "Stopped, the monitor is at its prompt" is tried out: the end key alone must bring the bare prompt.
- Bytes that were to be left alone are compared too: RAM outside the image, the monitor's reserved areas and
  what ran. No fault of the link alone may change one ("strays"); two faults in one line can, and a monitor
  whose own memory is bad may do anything.

What a survey or a diagnosis says (memory_judge.py, memory_truth.py):

- A page is what its tried address truly is: RAM, ROM, nothing, or another page's memory. "faulty" and "io"
  are true only where a fault has a say. "not probed" claims nothing. "does not answer" is passed for a ROM
  only where the report says itself that it may be one. A march's own claims are judged as diagnoses.
- On a healthy board no fault may be named, however unsure, and no stretch may be called wrong: noise is the
  link. On a bad one, a chip called certain must be bad, and a cause called certain must be one that was
  injected.
- Every byte that the test wrote must be as before, unless the report names it as owed, with what it held.
  Other bytes too, where no noise, bad memory or program may have changed them. A cell that changes by
  itself, or by another one, is left out. After `resume` has given back, the same; a byte that it leaves
  alone because something else stands there must hold something else than the test's own byte.
- No I/O register may be reached through a pointer, as examining and depositing do; the monitor itself names
  its registers in its instructions. Two faults in one line can make another line that reaches one.
- Where a fault reaches memory that the monitor works in, nothing of this is judged: it may print anything.
  That the job ends is.

Over a one-way link (one_way.py) nothing may be called proven, in facts or words, however it ends. Without any
fault every byte must be there, and after Ctrl-C the monitor at its prompt. What would read is refused unsent.

At the end of each session the link is whole again and the reset key is pressed: then enter must succeed,
unless memory is bad. So no fault, and no state it leaves behind, can bring linktool to a stand.
"""
