"""The refusals that every operation may answer with, as its description names them."""

from __future__ import annotations

from typing import Any

from kits.api.problems import ApiProblem

REFUSALS: dict[Any, Any] = dict.fromkeys((400, 401, 403, 404, 409, 422, 429, 500, 503), ApiProblem)
REFUSALS_OF_CHANGES: dict[Any, Any] = {**REFUSALS, 412: ApiProblem, 413: ApiProblem}
