"""What tests of plans ask of one."""

from pourcall.planning.planner import PourPlan


def aim_of(plan: PourPlan) -> float:
    """Where the pot is to be brought; a plan with nothing to aim for fails the test."""
    assert plan.aim_c is not None, plan.no_aim
    return plan.aim_c
