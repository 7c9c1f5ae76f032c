"""Plans of random shops, worked out once for all tests that look at them."""

from functools import cache

from bom.plan import plan
from tests.bom.validators import Result
from tests.shops import random_shop


@cache
def result_of(seed: int) -> Result:
    return Result(plan(random_shop(seed)))
