"""How far a pump has come: the order of the stages, and which of them need more than somebody's word."""

from __future__ import annotations

from kits.schedule.words import Stage

TO_BUILD = (Stage.EXPECTED, Stage.HERE, Stage.STRIPPED, Stage.BUILDING)
"""Stages in which a job asks for parts; a planner or lead says which of them it is in."""
SAID = (Stage.EXPECTED, Stage.HERE, Stage.STRIPPED)
"""Those of them to which a job goes by that word alone; building is begun by an action of its own, which asks what is
open."""
OPENED = (Stage.STRIPPED, Stage.BUILDING)
DONE = (Stage.BUILT, Stage.TESTED, Stage.SHIPPED)
"""Stages that are reached one after the other, by steps of their own that are kept."""


def is_done(stage: str) -> bool:
    """Whether the parts of a job at this stage are closed."""
    return stage in DONE


OPENED_ON_ITS_PAGE = "A pump is opened and built on the page of its job, where what is open is looked at: leave it."


def is_opened_by(before: str, after: str) -> bool:
    """Whether this step opens a pump or begins to build it; one that was held may have been open before."""
    begins = after == Stage.BUILDING != before
    return begins or (after == Stage.STRIPPED and before not in (*OPENED, Stage.HELD))


def written_stage_fault(before: str | None, after: str) -> tuple[str, str] | None:
    """Return why a list or the back office may not write this stage, and what to do instead; None where it may.

    A job that is entered (``before`` None) may be one of the past, so that it comes in at any stage. One that is known
    becomes built by the closing of its parts, tested and shipped by steps of their own, and goes back by such steps.
    """
    if before is None or before == after or not (is_done(before) or is_done(after)):
        return None
    was, wanted = before.replace("_", " "), after.replace("_", " ")
    if not is_done(before):
        return (
            f"the job is {was}, and nobody makes it {wanted} by writing so",
            f"leave it {was} here: closing its parts on the page of the job makes it built, after that it is tested "
            "and shipped there",
        )
    return (
        f"the job is {was} already, and nobody makes it {wanted} by writing so",
        f"write {was} here, or take that step on the page of the job",
    )
