"""`python -m tests.confusion [EACH]`: every case through the monitor, EACH of a class and machine (8)."""

from __future__ import annotations

import sys

from tests.confusion.cases import cases
from tests.confusion.table import judge, lines, summary
from tests.confusion.taking import over_the_link


def main() -> int:
    results = []
    for case in cases(int(sys.argv[1]) if len(sys.argv) > 1 else 8):
        result = judge(case, over_the_link(case))
        results.append(result)
        if not result.right or result.right_chip is False or result.wrong_chip:
            sys.stderr.write(
                f"{case.number} {case.machine.name} {case.method} {case.spec}: {result.named} "
                f"({result.confidence}), chip {result.right_chip}, wrong chip certain {result.wrong_chip}\n"
            )
    sys.stdout.write("\n".join(lines(results)) + "\n")
    classes, chips, wrong = summary(results)
    return 0 if classes >= 0.95 and chips >= 0.9 and not wrong else 1


if __name__ == "__main__":
    sys.exit(main())
