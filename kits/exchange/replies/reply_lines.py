"""The lines of a reply set against the plan of today: what each would change, what to know and what to ask of it."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal

from bom.errors import BomError
from bom.structure.units import from_millionths, to_millionths
from bom.values import ONE
from kits.catalog.amounts import price_text
from kits.catalog.day_doubts import DayDoubts, asked
from kits.catalog.fields import quantity_text
from kits.catalog.folding import fold
from kits.catalog.models import Item
from kits.exchange.reading.cells.known_marks import KnownMarks
from kits.exchange.replies.reply_book import EXPEDITE, SHORTAGES, HeardRow, ReplyBook
from kits.exchange.replies.reply_questions import (
    CURRENCY,
    LINE,
    PART,
    PRICE,
    PROMISED,
    QUANTITY,
    REFUSED,
    SUPPLIER,
    Questions,
    price_readings,
    quantity_readings,
    text,
)
from kits.exchange.replies.reply_words import EACH, PACK, numbers_in, says_alternative, validity_in
from kits.exchange.workbooks.shortage_lines import SURE, TOP_UP, WEAR, ShortageLine
from kits.purchasing.models import Offer, OrderLine, ReplyLine, ReplyState, Supplier

MOST_NAMED = 40
ASK_HIM = "correct it, or ask him whether it is meant"
ALL_THE_SAME = ("take it up all the same", {"line": "yes"})
_TOPICS = {
    "Our number": PART,
    "Key": PART,
    "Reply: supplier": SUPPLIER,
    "Supplier": SUPPLIER,
    "Pack": PRICE,
    "Reply: quote": PRICE,
    "Unit": QUANTITY,
    "Reply: quantity": QUANTITY,
    "Reply: promised": PROMISED,
    "Reply: new promise": PROMISED,
}
"""What a cell that could not be read leaves open."""


@dataclass(slots=True)
class Setting:
    """What rows are compared with: today's lines, the shop's numbers and suppliers, and what their offers cost."""

    lines: Mapping[str, ShortageLine]
    known: KnownMarks
    odd: DayDoubts
    jump: Decimal
    currency: str
    suppliers: Mapping[str, Supplier] = field(default_factory=dict)
    costs: Mapping[tuple[int, int], Decimal] = field(default_factory=dict)
    count: Counter[str] = field(default_factory=Counter)
    told: Mapping[str, Decimal] = field(default_factory=dict)
    seen: Counter[str] = field(default_factory=Counter)


def compare_reply(book: ReplyBook, setting: Setting) -> tuple[list[ReplyLine], list[str]]:
    """The lines that say something, and sentences about what as a whole is missing or left without an answer."""
    answered = [row for row in book.rows if row.replies]
    told: dict[str, Decimal] = defaultdict(Decimal)
    for row in answered:
        told[_key(row)] += _pieces(row, setting.lines.get(_key(row))) or 0
    setting.suppliers = {supplier.folded: supplier for supplier in Supplier.objects.all()}
    setting.costs = _costs([line.item for line in setting.lines.values()])
    setting.count = Counter(_key(row) for row in answered if row.sheet == SHORTAGES)
    setting.told = told
    made = [
        _AnswerLine(row, setting).made() if row.sheet == SHORTAGES else _promise_line(row, setting.odd)
        for row in answered
    ]
    _mind_earlier(made)
    return [line.finished() for line in made], list(_unanswered(book, list(setting.lines.values())))


def _costs(items: Sequence[Item]) -> dict[tuple[int, int], Decimal]:
    """What one unit costs by the offers of each supplier for each item, at the price of the smallest order."""
    found: dict[tuple[int, int], Decimal] = {}
    offers = Offer.objects.filter(item__in=items, price_per_pack__isnull=False)
    for offer in offers.order_by("-price_from_packs", "-pk"):
        found[offer.supplier_id, offer.item_id] = (offer.price_per_pack or Decimal()) * ONE / offer.pack_size
    return found


def _pieces(row: HeardRow, known: ShortageLine | None) -> Decimal | None:
    number = row.number("Reply: quantity")
    return number * _pack(row, known) if number is not None and row.counts == PACK else number


def _pack(row: HeardRow, known: ShortageLine | None) -> Decimal:
    told = Decimal(row.pack_told) if row.pack_told.isdecimal() and int(row.pack_told) else None
    return told or row.number("Pack") or (known.pack_size if known else Decimal(1))


def _fine(cost: Decimal) -> str:
    return price_text(cost.quantize(Decimal("0.01") if cost >= 1 else Decimal("0.0001")))


def _mind_earlier(lines: Sequence[_Line]) -> None:
    """A supplier who answers twice is heard twice, but nobody shall order twice unawares."""
    keys = {line.key for line in lines}
    earlier: dict[tuple[str, str], ReplyLine] = {}
    for one in ReplyLine.objects.filter(key__in=keys).exclude(state=ReplyState.SET_ASIDE).order_by("pk"):
        earlier[one.sheet, one.key] = one
    for line in lines:
        before = earlier.get((line.row.sheet, line.key))
        if before is not None:
            what = f"accepted: {before.outcome}" if before.state == ReplyState.ACCEPTED else "still open"
            says = f"The same line stands in reply {before.reply_id}, row {before.row}, {what}."
            line.questions.ask(LINE, says, ALL_THE_SAME)


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
    asked_of = {fold(row.text("Supplier")) for row in book.rows if row.text("Supplier")}
    missing = [line.key for line in lines if fold(line.key) not in there and fold(line.supplier) in asked_of]
    if missing:
        yield f"{_rows(len(missing))} of today's list of these suppliers did not come back: {_named(missing)}."


def _rows(count: int) -> str:
    return f"{count} row{'' if count == 1 else 's'}"


def _named(keys: Sequence[str]) -> str:
    more = f" and {len(keys) - MOST_NAMED} more" if len(keys) > MOST_NAMED else ""
    return ", ".join(keys[:MOST_NAMED]) + more


class _Line:
    """One line in the making."""

    key: str

    def __init__(self, row: HeardRow) -> None:
        self.row = row
        self.key = ""
        self.item: Item | None = None
        self.order_line: OrderLine | None = None
        self.remarks: list[str] = []
        self.questions = Questions()
        self.heard: dict[str, str] = {"note": row.text("Reply: note")}
        self.before: dict[str, str] = {}
        for column, says in row.unread.items():
            self.questions.ask(_TOPICS.get(column, LINE), says, *([] if column in _TOPICS else [ALL_THE_SAME]))

    def finished(self) -> ReplyLine:
        """The line as it is kept."""
        return ReplyLine(
            row=self.row.row,
            sheet=self.row.sheet,
            key=self.key[:300],
            item=self.item,
            order_line=self.order_line,
            heard={name: said for name, said in self.heard.items() if said},
            before=self.before,
            notes=self.row.notes,
            remarks=self.remarks,
            questions=self.questions.as_json(),
        )


def _promise_line(row: HeardRow, odd: DayDoubts) -> _Line:
    """A row of Expedite: another day for an order that is out."""
    line = _Line(row)
    order, number = row.text("Order"), row.text("Line")
    found = OrderLine.objects.select_related("item").by_number(order, number)
    day = row.day("Reply: new promise")
    line.heard |= {"promised": day.isoformat() if day else ""}
    if row.refused:
        line.questions.ask(PROMISED, f"He writes “{row.refused}”: set the row aside, or write the day he means.")
    if found is None:
        line.key = f"{order} line {number}"
        line.questions.ask(
            LINE,
            f"Order {order or '(blank)'} line {number or '(blank)'} is none of ours, so nothing can be accepted: set "
            "the row aside, and ask which order is meant.",
        )
        return line
    line.key, line.item, line.order_line = str(found), found.item, found
    line.before = {"promised": found.promised_on.isoformat(), "quantity": quantity_text(found.quantity)}
    sheet_day = row.day("Promised")
    if sheet_day and sheet_day != found.promised_on:
        says = f"The sheet was written when {sheet_day} was promised; {found.promised_on} stands here today."
        line.questions.ask(LINE, says, ALL_THE_SAME)
    if not found.quantity:
        line.questions.ask(LINE, "The order has come in full since: there is nothing left to promise.")
    if day is None:
        if not row.unread and not row.refused:
            says = "There is no new day: fill one in, or set the line aside when its note is read."
            line.questions.ask(PROMISED, says)
    elif day < odd.today:
        line.questions.ask(PROMISED, f"The new day {day} has passed: ask for another.")
    elif day == found.promised_on:
        line.questions.ask(PROMISED, "The new day is the day that stands here already.")
    elif doubt := odd.of_promise(day):
        line.questions.ask(PROMISED, asked(doubt, ASK_HIM), (f"{day} is meant", {"promised": day.isoformat()}))
    return line


class _AnswerLine(_Line):
    """A row of Shortages: a price, a delivery, both, or that he does not bid."""

    def __init__(self, row: HeardRow, setting: Setting) -> None:
        super().__init__(row)
        self.setting = setting
        self.asked_for = setting.lines.get(_key(row))
        self.key = row.text("Key") or f"row {row.row} without a key"
        self.pack = _pack(row, self.asked_for)
        self.supplier: Supplier | None = None

    def made(self) -> _AnswerLine:
        """The line, everything heard."""
        row = self.row
        self.item = self._find_item()
        self.heard["pack"] = text(self.pack)
        self._hear_supplier()
        self._hear_alternative()
        self._hear_refusal()
        if not row.refused or self.questions.by_topic.get(REFUSED):
            self._hear_price()
            self._hear_quantity()
            self._hear_day()
        self._hear_lead()
        self._set_beside()
        if self.setting.count[_key(row)] > 1 and _key(row):
            self.setting.seen[_key(row)] += 1
            place, of = self.setting.seen[_key(row)], self.setting.count[_key(row)]
            told = text(self.setting.told[_key(row)])
            self.remarks.append(f"Delivery {place} of {of} under this key, {told} together.")
        return self

    def _find_item(self) -> Item | None:
        """What the row is about; the key and the number have to agree."""
        key, number = self.row.text("Key"), self.row.text("Our number")
        named, _, why = key.rpartition(" / ")
        by_number = Item.objects.by_number(number) if number else None
        if self.asked_for is not None:
            by_key: Item | None = self.asked_for.item
        else:
            by_key = Item.objects.by_number(named) if why in (SURE, TOP_UP, WEAR) else None
        if not key or by_key is None:
            says = f"The key “{key}” is none that we gave, so it was changed"
            if not key:
                says = "The row has no key, so it was added to the sheet or its key was deleted"
            self._ask_part(f"{says}: name part and supplier, or set the row aside.", by_number)
            if number and by_number is None:
                self.heard["part"] = number
                self._ask_part(f"{number} is no number of ours: write ours, or enter the part in Items first.")
            return by_number
        if number and fold(number) != fold(by_key.part_number) and by_number != by_key:
            self._ask_part(
                f"The key says {by_key.part_number} and the row says {number}: choose which is meant.",
                by_key,
                by_number,
            )
            return None
        if self.asked_for is None:
            says = f"{by_key.part_number} is not short any more ({why}): what is here and on order is enough."
            self.questions.ask(LINE, says, ALL_THE_SAME)
        return by_key

    def _ask_part(self, says: str, *items: Item | None) -> None:
        readings = [(f"{one.part_number} {one.description}", {"part": one.part_number}) for one in items if one]
        self.questions.ask(PART, says, *readings)

    def _hear_supplier(self) -> None:
        row, asked_for = self.row, self.asked_for
        said = row.text("Reply: supplier") or row.text("Supplier") or (asked_for.supplier if asked_for else "")
        self.supplier = self.setting.suppliers.get(fold(said))
        if self.supplier is None:
            says = f"{said or 'A blank'} is no supplier of ours: choose one, or enter him on the sheet Suppliers first."
            self.questions.ask(SUPPLIER, says)
            return
        self.heard["supplier"] = self.supplier.supplier

    def _hear_alternative(self) -> None:
        """Whether the note or his number speaks of something else than what was asked for."""
        item, asked_for, note = self.item, self.asked_for, self.heard["note"]
        if item is None:
            return
        named = [number for number in numbers_in(note, self.setting.known) if fold(number) != item.folded]
        his_number = self.row.text("Supplier's number")
        before = asked_for.supplier_part_number if asked_for else ""
        others = [found for number in named if (found := Item.objects.by_number(number)) is not None]
        says = []
        if named or says_alternative(note):
            says.append(f"The note speaks of something else than {item.part_number}: “{note}”.")
        if before and his_number and fold(his_number) != fold(before):
            says.append(f"His number was changed from {before} to {his_number}.")
            others += [offer.item for offer in self._offers_under(his_number) if offer.item not in (item, *others)]
        if says and not others:
            says.append("If that is another part, set the row aside, or enter the part in Items first.")
        for one in says:
            self._ask_part(one, item, *others)

    def _offers_under(self, his_number: str) -> Iterable[Offer]:
        if self.supplier is None:
            return ()
        return Offer.objects.filter(supplier=self.supplier, folded=fold(his_number)).select_related("item")

    def _hear_refusal(self) -> None:
        row = self.row
        if not row.refused:
            return
        self.heard["refused"] = "yes"
        self.heard["note"] = self.heard["note"] or row.refused
        if row.damaged or any(
            row.values.get(name) is not None for name in ("Reply: quote", "Reply: promised", "Reply: quantity")
        ):
            self.questions.ask(
                REFUSED,
                f"He writes “{row.refused}”, and a price or a delivery as well.",
                ("he does not bid", {"refused": "yes"}),
                ("what else he writes holds", {"refused": ""}),
            )

    def _hear_price(self) -> None:
        row, asked_for, pack = self.row, self.asked_for, self.pack
        price = row.number("Reply: quote")
        self.heard["price"] = text(price)
        until = row.day("Reply: valid to") or validity_in(self.heard["note"], self.setting.odd.today)
        self.heard["valid"] = until.isoformat() if until else ""
        packs_of = [pack]
        if asked_for is not None and pack != asked_for.pack_size:
            packs_of.append(asked_for.pack_size)
            says = f"The pack was changed from {text(asked_for.pack_size)} to {text(pack)}."
            if price is None:
                self.questions.ask(PRICE, says, *((f"packs of {text(one)}", {"pack": text(one)}) for one in packs_of))
            else:
                self.questions.ask(PRICE, says, *price_readings(price, packs_of, whole_line=Decimal(1)))
        if price is None:
            return
        packs = _pieces(row, asked_for) or (asked_for.packs * asked_for.pack_size if asked_for else Decimal(1))
        readings = price_readings(price, packs_of, whole_line=Decimal(int(packs // pack)))
        if row.price_is_for not in ("", PACK) and pack != 1:
            one = "piece" if row.price_is_for == EACH else row.price_is_for
            says = f"The price is given for one {one}, and a pack holds {text(pack)}."
            self.questions.ask(PRICE, says, *readings)
        if (times := self._jump(price / pack)) is not None:
            self.questions.ask(PRICE, times, *readings)
        self._hear_currency()

    def _jump(self, cost: Decimal) -> str | None:
        """How far a price lies from that of the offers, as a sentence, if it is further than the shop lets pass."""
        asked_for, item = self.asked_for, self.item
        if item is None or not cost:
            return None
        before = self.setting.costs.get((self.supplier.pk, item.pk)) if self.supplier else None
        if not before and asked_for is not None and asked_for.price_per_pack:
            before = asked_for.price_per_pack / asked_for.pack_size
        if not before or 1 / self.setting.jump <= cost / before <= self.setting.jump:
            return None
        unit = "piece" if item.stock_unit == EACH else item.stock_unit
        return f"It makes {_fine(cost)} a {unit}, and what is offered here makes {_fine(before)}."

    def _hear_currency(self) -> None:
        said = self.row.currencies
        own = (self.supplier.currency if self.supplier else "") or self.setting.currency
        if not said or own in said:
            return
        self.heard["currency"] = said[0]
        readings = [(f"in {code}", {"currency": code}) for code in (*said, own) if code]
        self.questions.ask(CURRENCY, f"The price is in {said[0]}, and he sells in {own or 'no currency'}.", *readings)

    def _hear_quantity(self) -> None:
        row, asked_for, item, pack = self.row, self.asked_for, self.item, self.pack
        number, day = row.number("Reply: quantity"), row.day("Reply: promised")
        if number is None:
            if day is not None and asked_for is not None and not row.damaged:
                suggested = text(asked_for.packs * asked_for.pack_size)
                self.heard["quantity"] = suggested
                self.remarks.append(f"There is a day but no quantity: the suggested {suggested} stands here instead.")
            return
        if day is None and not row.damaged:
            self.remarks.append("There is a quantity but no promised day: it is asked for when the line is ordered.")
        quantity = self._in_stock_unit(number)
        self.heard["quantity"] = text(quantity)
        if quantity is None or item is None or self.questions.by_topic.get(QUANTITY):
            return
        readings = quantity_readings(number, pack, item.stock_unit)
        if quantity % pack:
            self.questions.ask(QUANTITY, f"{text(quantity)} is no whole number of packs of {text(pack)}.", *readings)
        elif asked_for and pack != 1 and not row.counts and number == asked_for.packs and quantity < asked_for.short:
            says = f"{text(number)} is as many as the packs that were suggested, but fewer pieces than are short."
            self.questions.ask(QUANTITY, says, *readings)
        if asked_for is not None:
            self._set_against_need(quantity, asked_for)

    def _in_stock_unit(self, number: Decimal) -> Decimal | None:
        """A quantity in our unit; where he counts in another one without saying so, both readings are offered."""
        item, pack, unit, counts = self.item, self.pack, self.row.text("Unit"), self.row.counts
        if counts == PACK:
            self.row.notes.append(f"{text(number)} packs of {text(pack)} are {text(number * pack)}.")
            return number * pack
        if unit == PACK and not counts:
            readings = quantity_readings(number, pack, item.stock_unit if item else "each")
            self.questions.ask(QUANTITY, "The unit was changed to packs.", *readings)
            return None
        unit = counts or unit
        if item is None or not unit or unit == item.stock_unit:
            return number
        as_it_stands = (f"{text(number)} {item.stock_unit}", {"quantity": text(number)})
        try:
            worked_out = from_millionths(to_millionths(number, unit, item.stock_unit))
        except BomError:
            says = f"The unit was changed to {unit}, but {item} is counted in {item.stock_unit}."
            self.questions.ask(QUANTITY, says, as_it_stands)
            return None
        converted = f"{text(number)} {unit} are {text(worked_out)} {item.stock_unit}"
        if counts:
            self.row.notes.append(f"{converted}.")
            return worked_out
        self.questions.ask(
            QUANTITY, f"The unit was changed to {unit}.", (converted, {"quantity": text(worked_out)}), as_it_stands
        )
        return worked_out

    def _set_against_need(self, quantity: Decimal, asked_for: ShortageLine) -> None:
        told = self.setting.told[_key(self.row)] or quantity
        suggested = asked_for.packs * asked_for.pack_size
        if told < asked_for.short:
            left = text(asked_for.short - told)
            self.remarks.append(f"{left} of the {text(asked_for.short)} short are not covered by it.")
        elif told > suggested:
            says = f"{text(told)} is more than the {text(suggested)} that were suggested."
            self.questions.ask(QUANTITY, says, (f"{text(quantity)} are meant", {"quantity": text(quantity)}))

    def _hear_day(self) -> None:
        day, asked_for, odd = self.row.day("Reply: promised"), self.asked_for, self.setting.odd
        self.heard["promised"] = day.isoformat() if day else ""
        if day is None:
            return
        if day < odd.today:
            self.questions.ask(PROMISED, f"The promised day {day} has passed: ask for another.")
        elif doubt := odd.of_promise(day):
            self.questions.ask(PROMISED, asked(doubt, ASK_HIM), (f"{day} is meant", {"promised": day.isoformat()}))
        elif asked_for is not None and asked_for.need_on and day > asked_for.need_on:
            late = odd.calendar.between(asked_for.need_on, day)
            self.remarks.append(f"It comes {late} working day{'' if late == 1 else 's'} after the first need.")

    def _hear_lead(self) -> None:
        lead, asked_for = self.row.number("Lead, working days"), self.asked_for
        if lead is None or asked_for is None or lead == asked_for.lead_days:
            return
        own = int(lead) - (self.supplier.transit_days if self.supplier else 0)
        if own < 0:
            says = f"The lead of {lead} working days is shorter than the days on the way: it was left out."
            self.questions.ask(LINE, says, ALL_THE_SAME)
            return
        was = "none" if asked_for.lead_days is None else str(asked_for.lead_days)
        says = f"The lead was changed from {was} to {lead} working days, those on the way included."
        self.questions.ask(LINE, says, ALL_THE_SAME)
        self.heard["lead"] = str(own)

    def _set_beside(self) -> None:
        """What stands on today's list."""
        asked_for = self.asked_for
        if asked_for is None or self.item is None:
            return
        self.before = {
            "supplier": asked_for.supplier,
            "pack": text(asked_for.pack_size),
            "price": text(asked_for.price_per_pack),
            "quantity": text(asked_for.packs * asked_for.pack_size),
            "short": text(asked_for.short),
            "promised": "",
            "needed": asked_for.need_on.isoformat() if asked_for.need_on else "",
        }
        short = self.row.number("Short")
        if short is not None and short != asked_for.short:
            says = f"{text(short)} were short when the sheet was written, {text(asked_for.short)} are today."
            self.questions.ask(LINE, says, ALL_THE_SAME)
        if fold(self.heard.get("supplier", "")) not in ("", fold(asked_for.supplier)):
            self.remarks.append(f"The plan reckoned with {asked_for.supplier or 'no offer'}.")
