"""The registry: every kind that a plan can name has a check, and a wrong one is refused."""

from __future__ import annotations

import inspect
from typing import get_args

import pytest

from harness.checks import registry
from harness.checks.check import Check
from harness.checks.noise import NoiseCheck
from harness.checks.registry import check_of_kind, kinds, register
from harness.descriptions import plan
from harness.errors import MisuseError


def planned_kinds() -> set[str]:
    settings = get_args(get_args(plan.CheckSettings)[0])
    return {get_args(inspect.get_annotations(s, eval_str=True)["kind"])[0] for s in settings}


def test_every_kind_of_the_plan_is_registered():
    assert planned_kinds() == set(kinds())


@pytest.mark.parametrize("kind", kinds())
def test_a_check_is_found_by_its_own_kind(kind):
    assert kind == check_of_kind(kind).kind


@pytest.mark.parametrize("kind", kinds())
def test_a_check_has_the_parameters_of_the_protocol(kind):
    for name in ("needs", "points", "acquire", "judge"):
        own = tuple(inspect.signature(getattr(check_of_kind(kind), name)).parameters)
        assert tuple(inspect.signature(getattr(Check, name)).parameters)[1:] == own


def test_an_unknown_kind_is_named_with_those_there_are():
    with pytest.raises(MisuseError, match=r'expected one of mapping, .*, got "bleed"'):
        check_of_kind("bleed")


class Another(NoiseCheck):
    kind = "another"


class WithoutJudge:
    kind = "without-judge"
    needs = points = lambda self, setup, index: ()
    acquire = lambda self, bench, point, index: None  # noqa: E731


class WithOtherParameters(NoiseCheck):
    kind = "other-parameters"

    def judge(self, observations, setup):
        return None


class WithoutKind(NoiseCheck):
    kind = ""


def test_a_new_check_becomes_known(monkeypatch):
    monkeypatch.setattr(registry, "_CHECKS", dict(registry._CHECKS))
    register(Another())
    assert "another" in kinds()


@pytest.mark.parametrize(
    ("check", "message"),
    [
        (NoiseCheck(), 'kind: expected one not yet registered, got "noise" of NoiseCheck'),
        (WithoutJudge(), "judge: expected parameters observations, setup, index, got nothing to"),
        (WithOtherParameters(), "judge: expected parameters .*, got observations, setup"),
        (WithoutKind(), "kind: expected a name, got ''"),
    ],
)
def test_a_wrong_check_is_refused(check, message):
    with pytest.raises(MisuseError, match=message):
        register(check)
