"""The confusion table held to its figures: at least 200 cases on two machines."""

from __future__ import annotations

import pytest

from tests.confusion.cases import Case, beyond, cases
from tests.confusion.table import judge, lines, summary
from tests.confusion.taking import on_the_bus, over_the_link

CASES = cases(8)
ONE_OF_EACH = [case for case in cases(1) if case.machine.name == "heron"]


def test_what_is_named_for_every_injected_fault():
    assert len(CASES) >= 200
    results = [judge(case, on_the_bus(case)) for case in CASES]
    classes, chips, wrong = summary(results)
    table = "\n".join(lines(results))
    assert classes >= 0.95, table
    assert chips >= 0.90, table
    assert wrong == 0, table


@pytest.mark.parametrize("case", ONE_OF_EACH, ids=lambda case: case.name.replace(" ", "-"))
def test_one_fault_of_each_class_through_the_monitor(case: Case):
    result = judge(case, over_the_link(case))
    assert result.right, f"{case.spec}: {result}"
    assert result.right_chip is not False and not result.wrong_chip


def test_faults_of_no_known_class_never_make_a_wrong_chip_certain():
    results = [judge(case, on_the_bus(case)) for case in beyond(12)]
    assert len(results) >= 100
    assert [result.case.spec for result in results if result.wrong_chip] == []
