"""Deterministic simulation: whole sessions on the simulated board, drawn from a seed and judged.

    python -m tests.simulation --sessions 20000 --seed 1 --jobs 2    the table; status 1: a rule was broken
    python -m tests.simulation --only 1000042 --trace seed.jsonl     one session again, with all that passed

A session draws a machine, an image, a link and a fault plan (plan.py), then works as a person would: enter,
check, read or run, interrupted or not; then again. Keys and characters are lost, doubled, changed and late
(wire.py); the reset key is pressed, the cable pulled and put back, Ctrl-C struck, the host killed (cable.py);
memory is bad by the board's own table of faults. Time is virtual. The same seed is the same session.

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

At the end of each session the link is whole again and the reset key is pressed: then enter must succeed,
unless memory is bad. So no fault, and no state it leaves behind, can bring linktool to a stand.
"""
