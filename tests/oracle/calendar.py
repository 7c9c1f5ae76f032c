"""Working days, one day at a time."""

from datetime import date, timedelta

ONE_DAY = timedelta(days=1)


class Calendar:
    """The shop's working days; every answer is found by stepping from day to day."""

    def __init__(self, workdays, holidays):
        self.workdays = workdays
        self.holidays = set(holidays)

    def closed(self, first: date, last: date) -> "Calendar":
        """The same calendar with the days from ``first`` to ``last`` closed as well."""
        days = [first + number * ONE_DAY for number in range((last - first).days + 1)]
        return Calendar(self.workdays, self.holidays | set(days))

    def is_open(self, day: date) -> bool:
        return self.workdays[day.weekday()] and day not in self.holidays

    def step(self, day: date, working_days: int, direction: int) -> date:
        """A closed day first moves to the next open one in that direction, then come the steps."""
        while not self.is_open(day):
            day += direction * ONE_DAY
        while working_days > 0:
            day += direction * ONE_DAY
            if self.is_open(day):
                working_days -= 1
        return day

    def backward(self, day: date, working_days: int) -> date:
        return self.step(day, working_days, -1)

    def forward(self, day: date, working_days: int) -> date:
        return self.step(day, working_days, +1)

    def between(self, first: date, last: date) -> int:
        """Working days d with first <= d < last; none when last is not after first."""
        total = 0
        while first < last:
            total += self.is_open(first)
            first += ONE_DAY
        return total
