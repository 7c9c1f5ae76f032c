"""The exact shape of ``plan --json``: keys in their order, and what may stand under each."""

import re
from collections.abc import Iterator

ISO = re.compile(r"\d{4}-\d\d-\d\d")
WORDS = {
    "status": ("ready", "waiting", "late", "short"),
    "wear_advice": ("decide_after_strip", "only_if_found"),
}
LEFT_OUT = {"quarantine", "owing", "no_date", "expired", "resealed", "reserved", "too_old"}

# A trailing "?" means that null may stand there.
SHAPE = {
    "jobs": "job:text status:word parts_on:day? days_late:count? blocking_part:text? order_by:day? "
    "leans_on_overdue:flag",
    "other_needs": "need:text status:word parts_on:day?",
    "demand": "part_number:text sure:number passed_down:number positions:number spares:number expected:fraction "
    "planned_wear:number total:number on_hand:number left_out:reasons on_order:number uncovered:number "
    "uncovered_wear:number chance_enough:chance?",
    "kits": "job:text kit:text fits:text count:count covered:parts short:parts spare:parts surplus:parts",
    "buy": "part_number:text short:number short_wear:number top_up:number net:number packs:count pack_size:number "
    "order_quantity:number surplus:number supplier:text? price:money? need_on:day? order_by:day? days_late:count? "
    "earliest_arrival:day? wear_advice:word? next_break:break? jobs:names",
    "expedite": "order:text line:text part_number:text quantity:number promised:day need_on:day days_late:count "
    "bought_today_on:day? jobs:names",
    "chase": "order:text line:text part_number:text quantity:number promised:day days_late:count jobs:names",
    "pack": "kit:text quantity:number need_on:day jobs:names",
    "expiring": "part_number:text lot:text last_use:day quantity:number unused:number",
    "frees": "part_number:text jobs:names",
    "flags": "kind:text part_number:text? job:text? says:text",
}
COLUMNS = {name: dict(column.split(":") for column in columns.split()) for name, columns in SHAPE.items()}
SORTED_BY = {
    "jobs": ("job",),
    "other_needs": ("need",),
    "demand": ("part_number",),
    "kits": ("job", "kit", "fits"),
    "buy": ("part_number",),
    "pack": ("kit",),
    "expiring": ("part_number", "lot", "last_use"),
}


def shape_breaches(answer: dict) -> Iterator[str]:
    """Everything that is not as it is promised."""
    if list(answer) != ["as_of", "staging_days", *SHAPE]:
        yield f"the keys are {list(answer)}"
        return
    if not is_day(answer["as_of"]) or type(answer["staging_days"]) is not int:
        yield f"as_of {answer['as_of']!r}, staging_days {answer['staging_days']!r}"
    for name, columns in COLUMNS.items():
        for row in answer[name]:
            yield from row_breaches(name, columns, row)
        keys = [tuple(row[column] for column in SORTED_BY.get(name, ())) for row in answer[name]]
        if keys != sorted(keys):
            yield f"{name} is not sorted: {keys}"


def row_breaches(name: str, columns: dict, row: dict) -> Iterator[str]:
    if list(row) != list(columns):
        yield f"{name}: the keys are {list(row)}"
        return
    for column, kind in columns.items():
        value = row[column]
        if value is None and kind.endswith("?"):
            continue
        if not IS_A[kind.rstrip("?")](column, value):
            yield f"{name}.{column} is {value!r}, not a {kind}"


def is_day(value) -> bool:
    return isinstance(value, str) and bool(ISO.fullmatch(value))


def is_number(value) -> bool:
    """Whole numbers are integers; nothing is below zero."""
    return (type(value) is int and value >= 0) or (type(value) is float and value > 0 and value != int(value))


IS_A = {
    "text": lambda _, value: isinstance(value, str) and value != "",
    "word": lambda column, value: value in WORDS[column],
    "day": lambda _, value: is_day(value),
    "count": lambda _, value: type(value) is int and value >= 0,
    "flag": lambda _, value: type(value) is bool,
    "number": lambda _, value: is_number(value) and round(value, 6) == value,
    "fraction": lambda _, value: is_number(value) and round(value, 6) == value,
    "chance": lambda _, value: is_number(value) and value <= 1 and round(value, 9) == value,
    "money": lambda _, value: is_number(value) and round(value, 2) == value,
    "break": lambda _, value: (
        list(value) == ["packs", "price", "saving"]
        and type(value["packs"]) is int
        and all(is_number(value[name]) and round(value[name], 2) == value[name] for name in ("price", "saving"))
        and min(value.values()) > 0
    ),
    "parts": lambda _, value: all(is_number(q) and q > 0 for q in value.values()) and list(value) == sorted(value),
    "reasons": lambda _, value: set(value) <= LEFT_OUT and all(is_number(q) and q > 0 for q in value.values()),
    "names": lambda _, value: all(isinstance(name, str) for name in value) and value == sorted(set(value)),
}
