"""The lines of a reply set against the plan of today: what each would change, what to mind before it is accepted."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal

from bom.errors import BomError
from bom.structure.units import from_millionths, to_millionths
from kits.catalog.day_doubts import DayDoubts, asked
from kits.catalog.fields import quantity_text
from kits.catalog.folding import fold
from kits.catalog.models import Item
from kits.exchange.replies.reply_book import EXPEDITE, SHORTAGES, HeardRow, ReplyBook
from kits.exchange.workbooks.shortage_lines import SURE, TOP_UP, WEAR, ShortageLine
from kits.purchasing.models import OrderLine, ReplyLine, ReplyState, Supplier

MOST_NAMED = 40
ASK_HIM = "correct it, or ask him whether it is meant"


@dataclass(slots=True)
class _Setting:
    """What a row is compared with."""

    lines: Mapping[str, ShortageLine]
    suppliers: Mapping[str, Supplier]
    odd: DayDoubts
    count: Counter[str]
    told: Mapping[str, Decimal]
    seen: Counter[str] = field(default_factory=Counter)


def compare_reply(book: ReplyBook, lines: Sequence[ShortageLine], odd: DayDoubts) -> tuple[list[ReplyLine], list[str]]:
    """The lines that say something, and sentences about what as a whole is missing or left without an answer."""
    answered = [row for row in book.rows if row.replies]
    told: dict[str, Decimal] = defaultdict(Decimal)
    for row in answered:
        told[_key(row)] += row.number("Reply: quantity") or 0
    setting = _Setting(
        lines={fold(line.key): line for line in lines},
        suppliers={supplier.folded: supplier for supplier in Supplier.objects.all()},
        odd=odd,
        count=Counter(_key(row) for row in answered if row.sheet == SHORTAGES),
        told=told,
    )
    made = [_answer_line(row, setting) if row.sheet == SHORTAGES else _promise_line(row, odd) for row in answered]
    _mind_earlier(made)
    return made, list(_unanswered(book, lines))


def _mind_earlier(lines: Sequence[ReplyLine]) -> None:
    """A supplier who answers twice is heard twice, but nobody shall order twice unawares."""
    keys = {line.key for line in lines}
    earlier: dict[tuple[str, str], ReplyLine] = {}
    for one in ReplyLine.objects.filter(key__in=keys).exclude(state=ReplyState.SET_ASIDE).order_by("pk"):
        earlier[one.sheet, one.key] = one
    for line in lines:
        before = earlier.get((line.sheet, line.key))
        if before is not None:
            what = f"accepted: {before.outcome}" if before.state == ReplyState.ACCEPTED else "still open"
            line.remarks.append(f"The same line stands in reply {before.reply_id}, row {before.row}, {what}.")
            line.must_look = True


def _key(row: HeardRow) -> str:
    if row.sheet == EXPEDITE:
        return f"{row.text('Order')} / {row.text('Line')}"
    return fold(row.text("Key"))


def _unanswered(book: ReplyBook, lines: Sequence[ShortageLine]) -> Iterable[str]:
    """What came back as it went, and what did not come back at all."""
    silent = [row.text("Key") or f"row {row.row}" for row in book.rows if not row.replies and row.sheet == SHORTAGES]
    if silent:
        yield f"{_rows(len(silent))} came back without an answer: {_named(silent)}."
    if SHORTAGES not in book.sheets:
        return
    there = {fold(row.text("Key")) for row in book.rows}
    asked = {fold(row.text("Supplier")) for row in book.rows if row.text("Supplier")}
    missing = [line.key for line in lines if fold(line.key) not in there and fold(line.supplier) in asked]
    if missing:
        yield f"{_rows(len(missing))} of today's list of these suppliers did not come back: {_named(missing)}."


def _rows(count: int) -> str:
    return f"{count} row{'' if count == 1 else 's'}"


def _named(keys: Sequence[str]) -> str:
    more = f" and {len(keys) - MOST_NAMED} more" if len(keys) > MOST_NAMED else ""
    return ", ".join(keys[:MOST_NAMED]) + more


class _Line:
    """One line in the making."""

    def __init__(self, row: HeardRow) -> None:
        self.remarks = list(row.remarks)
        self.must_look = row.damaged
        self.heard: dict[str, str] = {"note": row.text("Reply: note")}
        self.before: dict[str, str] = {}

    def mind(self, says: str) -> None:
        """A remark that somebody has to look at before the line is accepted."""
        self.remarks.append(says)
        self.must_look = True

    def made(self, row: HeardRow, key: str, item: Item | None = None, order_line: OrderLine | None = None) -> ReplyLine:
        """The finished line."""
        return ReplyLine(
            row=row.row,
            sheet=row.sheet,
            key=key[:300],
            item=item,
            order_line=order_line,
            heard={name: text for name, text in self.heard.items() if text},
            before=self.before,
            remarks=self.remarks,
            must_look=self.must_look,
        )


def _promise_line(row: HeardRow, odd: DayDoubts) -> ReplyLine:
    """A row of Expedite: another day for an order that is out."""
    line = _Line(row)
    order, number = row.text("Order"), row.text("Line")
    found = OrderLine.objects.select_related("item").by_number(order, number)
    day = row.day("Reply: new promise")
    line.heard |= {"promised": day.isoformat() if day else ""}
    if found is None:
        line.mind(
            f"Order {order or '(blank)'} line {number or '(blank)'} is none of ours, so nothing can be accepted: set "
            "the row aside, and ask which order is meant."
        )
        return line.made(row, f"{order} line {number}")
    line.before = {"promised": found.promised_on.isoformat(), "quantity": quantity_text(found.quantity)}
    sheet_day = row.day("Promised")
    if sheet_day and sheet_day != found.promised_on:
        line.mind(f"The sheet was written when {sheet_day} was promised; {found.promised_on} stands here today.")
    if not found.quantity:
        line.mind("The order has come in full since: there is nothing left to promise.")
    if day is None:
        line.mind("There is no new day: fill one in, or set the line aside when its note is read.")
    elif day < odd.today:
        line.mind(f"The new day {day} has passed: ask for another.")
    elif day == found.promised_on:
        line.mind("The new day is the day that stands here already.")
    elif doubt := odd.of_promise(day):
        line.mind(asked(doubt, ASK_HIM))
    return line.made(row, str(found), found.item, found)


def _answer_line(row: HeardRow, setting: _Setting) -> ReplyLine:
    """A row of Shortages: a price, a delivery, or both."""
    line = _Line(row)
    known = setting.lines.get(_key(row))
    item = _item_of(row, known, line)
    if item is not None:
        _hear_supplier(row, known, setting, line)
        _hear_pack(row, known, item, line)
        _hear_quantity(row, known, item, setting, line)
        _hear_lead(row, known, setting, line)
        if known is not None:
            _set_beside(row, known, line)
    else:
        if row.text("Reply: supplier") or row.text("Supplier"):
            _hear_supplier(row, known, setting, line)
        line.heard |= {"pack": _text(row.number("Pack")), "quantity": _text(row.number("Reply: quantity"))}
    day, price = row.day("Reply: promised"), row.number("Reply: quote")
    line.heard |= {"price": _text(price), "promised": day.isoformat() if day else ""}
    _mind_day(day, known, setting, line)
    if setting.count[_key(row)] > 1 and _key(row):
        setting.seen[_key(row)] += 1
        place, of = setting.seen[_key(row)], setting.count[_key(row)]
        line.remarks.append(f"Delivery {place} of {of} under this key, {_text(setting.told[_key(row)])} together.")
    return line.made(row, row.text("Key") or f"row {row.row} without a key", item)


def _item_of(row: HeardRow, known: ShortageLine | None, line: _Line) -> Item | None:
    """What the row is about; the key and the number have to agree."""
    key, number = row.text("Key"), row.text("Our number")
    if known is not None:
        if not number or fold(number) == fold(known.item.part_number):
            return known.item
        line.mind(f"The key says {known.item.part_number} and the row says {number}: choose which is meant.")
        return None
    named, _, why = key.rpartition(" / ")
    by_key = Item.objects.by_number(named) if why in (SURE, TOP_UP, WEAR) else None
    by_number = Item.objects.by_number(number) if number else None
    if not key:
        line.mind(
            "The row has no key, so it was added to the sheet or its key was deleted: name part and supplier, or set "
            "the row aside."
        )
        _keep_strange(number, by_number, line)
        return by_number
    if by_key is None:
        line.mind(f"The key “{key}” is none that we gave, so it was changed: name the part, or set the row aside.")
        _keep_strange(number, by_number, line)
        return by_number
    if number and by_number != by_key:
        line.mind(f"The key says {by_key.part_number} and the row says {number}: choose which is meant.")
        return None
    line.mind(f"{by_key.part_number} is not short any more ({why}): what is here and on order is enough.")
    return by_key


def _keep_strange(number: str, found: Item | None, line: _Line) -> None:
    """A number that is none of ours stays with the line, so that somebody can see what was meant."""
    if number and found is None:
        line.heard["part"] = number
        line.mind(f"{number} is no number of ours: write ours, or enter the part in Items first.")


def _hear_supplier(row: HeardRow, known: ShortageLine | None, setting: _Setting, line: _Line) -> None:
    said = row.text("Reply: supplier") or row.text("Supplier") or (known.supplier if known else "")
    found = setting.suppliers.get(fold(said))
    if found is None:
        line.mind(f"{said or 'A blank'} is no supplier of ours: choose one, or enter him on the sheet Suppliers first.")
        return
    line.heard["supplier"] = found.supplier
    line.heard["order"] = f"R{setting.odd.today:%y%m%d}-{found.supplier.split()[0]}"[:100]


def _hear_pack(row: HeardRow, known: ShortageLine | None, item: Item, line: _Line) -> None:
    pack = row.number("Pack") or (known.pack_size if known else Decimal(1))
    line.heard["pack"] = _text(pack)
    if known is not None and pack != known.pack_size:
        line.mind(
            f"The pack was changed from {_text(known.pack_size)} to {_text(pack)}: "
            "the price is taken as that of the changed pack, as an offer of its own."
        )


def _hear_quantity(row: HeardRow, known: ShortageLine | None, item: Item, setting: _Setting, line: _Line) -> None:
    quantity = row.number("Reply: quantity")
    day = row.day("Reply: promised")
    unit = row.text("Unit")
    if quantity is not None and unit and unit != item.stock_unit:
        quantity = _in_stock_unit(quantity, unit, item, line)
    elif quantity is None and day is not None and known is not None and not row.damaged:
        quantity = known.packs * known.pack_size
        line.mind(f"There is a day but no quantity: the suggested {_text(quantity)} stands here instead.")
    if quantity is not None and day is None and not row.damaged:
        line.mind("There is a quantity but no promised day: fill it in, or clear the quantity to take the price alone.")
    line.heard["quantity"] = _text(quantity)
    if quantity is None or known is None:
        return
    pack = row.number("Pack") or known.pack_size
    if quantity % pack:
        line.mind(f"{_text(quantity)} is no whole number of packs of {_text(pack)}.")
    told = setting.told[_key(row)] or quantity
    if told < known.short:
        line.remarks.append(f"{_text(known.short - told)} of the {_text(known.short)} short are not covered by it.")
    elif told > known.packs * known.pack_size:
        line.mind(f"{_text(told)} is more than the {_text(known.packs * known.pack_size)} that were suggested.")


def _in_stock_unit(quantity: Decimal, unit: str, item: Item, line: _Line) -> Decimal | None:
    """A quantity in a unit that the supplier changed: worked out where that can be, and to be looked at either way."""
    try:
        worked_out = from_millionths(to_millionths(quantity, unit, item.stock_unit))
    except BomError:
        line.mind(f"The unit was changed to {unit}, but {item} is counted in {item.stock_unit}: fill in the quantity.")
        return None
    line.mind(
        f"The unit was changed to {unit}: {_text(quantity)} {unit} are {_text(worked_out)} {item.stock_unit}, "
        "and that stands here."
    )
    return worked_out


def _hear_lead(row: HeardRow, known: ShortageLine | None, setting: _Setting, line: _Line) -> None:
    lead = row.number("Lead, working days")
    if lead is None or known is None or lead == known.lead_days:
        return
    supplier = setting.suppliers.get(fold(line.heard.get("supplier", "")))
    own = int(lead) - (supplier.transit_days if supplier else 0)
    if own < 0:
        line.mind(f"The lead of {lead} working days is shorter than the days on the way: it was left out.")
        return
    was = "none" if known.lead_days is None else str(known.lead_days)
    line.mind(f"The lead was changed from {was} to {lead} working days, those on the way included.")
    line.heard["lead"] = str(own)


def _set_beside(row: HeardRow, known: ShortageLine, line: _Line) -> None:
    """What stands on today's list."""
    line.before = {
        "supplier": known.supplier,
        "pack": _text(known.pack_size),
        "price": _text(known.price_per_pack),
        "quantity": _text(known.packs * known.pack_size),
        "short": _text(known.short),
        "promised": "",
        "needed": known.need_on.isoformat() if known.need_on else "",
    }
    short = row.number("Short")
    if short is not None and short != known.short:
        line.mind(f"{_text(short)} were short when the sheet was written, {_text(known.short)} are today.")
    if fold(line.heard.get("supplier", "")) not in ("", fold(known.supplier)):
        line.remarks.append(f"The plan reckoned with {known.supplier or 'no offer'}.")


def _mind_day(day: date | None, known: ShortageLine | None, setting: _Setting, line: _Line) -> None:
    if day is None:
        return
    if day < setting.odd.today:
        line.mind(f"The promised day {day} has passed: ask for another.")
    elif doubt := setting.odd.of_promise(day):
        line.mind(asked(doubt, ASK_HIM))
    elif known is not None and known.need_on and day > known.need_on:
        late = setting.odd.calendar.between(known.need_on, day)
        line.remarks.append(f"It comes {late} working day{'' if late == 1 else 's'} after the first need.")


def _text(number: Decimal | int | None) -> str:
    """A number without needless zeros."""
    if number is None:
        return ""
    plain = f"{Decimal(number):f}"
    return plain.rstrip("0").rstrip(".") if "." in plain else plain
