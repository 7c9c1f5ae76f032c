"""A row of Shortages as it came back: a price, a delivery, both, or no bid; and what to ask about it."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal
from itertools import pairwise

from bom.errors import BomError
from bom.structure.units import from_millionths, to_millionths
from kits.catalog.amounts import price_text
from kits.catalog.days.doubts import asked
from kits.catalog.days.words import in_full
from kits.catalog.folding import fold
from kits.catalog.models import Item
from kits.exchange.replies.line_in_making import (
    ALL_THE_SAME,
    ASK_SUPPLIER,
    LineInMaking,
    ReplyContext,
    key_of,
    pack_of,
    pieces_of,
)
from kits.exchange.replies.reply_book import FilledRow
from kits.exchange.replies.reply_questions import (
    CURRENCY,
    LINE,
    PART,
    PRICE,
    PROMISED,
    QUANTITY,
    REFUSED,
    SUPPLIER,
    as_text,
    price_readings,
    quantity_readings,
)
from kits.exchange.replies.reply_words import EACH, PACK, numbers_in, says_alternative, validity_in
from kits.exchange.replies.request_rows import as_asked
from kits.exchange.workbooks.shortage_lines import SURE, TOP_UP, WEAR, ShortageLine
from kits.purchasing.models import Offer, Supplier
from kits.purchasing.replies.answers import breaks_text


class AnswerLine(LineInMaking):
    """A row of Shortages: a price, a delivery, both, or no bid."""

    def __init__(self, row: FilledRow, context: ReplyContext) -> None:
        super().__init__(row)
        self.context = context
        self.asked_for = as_asked(row, context.lines.get(key_of(row)))
        self.key = row.text("Key") or f"row {row.row} without a key"
        self.pack = pack_of(row, self.asked_for)
        self.supplier: Supplier | None = None

    def made(self) -> AnswerLine:
        """The line, everything stated."""
        row = self.row
        self.item = self._find_item()
        self.stated["pack"] = as_text(self.pack)
        self._read_supplier()
        self._read_alternative()
        self._read_refusal()
        if not row.refused or self.questions.by_topic.get(REFUSED):
            self._read_price()
            self._read_breaks()
            self._read_quantity()
            self._read_day()
        self._read_lead()
        self._set_beside()
        if self.context.count[key_of(row)] > 1 and key_of(row):
            self.context.seen[key_of(row)] += 1
            place, of = self.context.seen[key_of(row)], self.context.count[key_of(row)]
            stated = as_text(self.context.stated[key_of(row)])
            self.remarks.append(f"Delivery {place} of {of} under this key, {stated} together.")
        return self

    def _find_item(self) -> Item | None:
        """What the row is about; the key and the number have to agree."""
        key, number = self.row.text("Key"), self.row.text("Our number")
        if self.asked_for is not None and fold(number) in ("", self.asked_for.item.folded):
            return self.asked_for.item
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
                self.stated["part"] = number
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

    def _read_supplier(self) -> None:
        row, asked_for = self.row, self.asked_for
        said = row.text("Reply: supplier") or row.text("Supplier") or (asked_for.supplier if asked_for else "")
        self.supplier = self.context.suppliers.get(fold(said))
        if self.supplier is None:
            says = f"{said or 'A blank'} is no supplier of ours: choose one, or add it to the sheet Suppliers first."
            self.questions.ask(SUPPLIER, says)
            return
        self.stated["supplier"] = self.supplier.supplier

    def _read_alternative(self) -> None:
        """Whether the note or the supplier's number speaks of something else than what was asked for."""
        item, asked_for, note = self.item, self.asked_for, self.stated["note"]
        if item is None:
            return
        named = [number for number in numbers_in(note, self.context.known) if fold(number) != item.folded]
        number = self.row.text("Supplier's number")
        before = asked_for.supplier_part_number if asked_for else ""
        instead = self.stated["alternative"] = self.row.text("Reply: alternative")
        named += [one for one in numbers_in(instead, self.context.known) if fold(one) != item.folded]
        others = [found for number in named if (found := Item.objects.by_number(number)) is not None]
        says = []
        if instead:
            says.append(f"The supplier offers another number than the one asked for: {instead}.")
        elif named or says_alternative(note):
            says.append(f"The note speaks of something else than {item.part_number}: “{note}”.")
        if before and number and fold(number) != fold(before):
            says.append(f"The supplier's number was changed from {before} to {number}.")
            others += [offer.item for offer in self._offers_under(number) if offer.item not in (item, *others)]
        if says and not others:
            says.append("If that is another part, set the row aside, or enter the part in Items first.")
        for one in says:
            self._ask_part(one, item, *others)

    def _offers_under(self, number: str) -> Iterable[Offer]:
        if self.supplier is None:
            return ()
        return Offer.objects.filter(supplier=self.supplier, folded=fold(number)).select_related("item")

    def _read_refusal(self) -> None:
        row = self.row
        if not row.refused:
            return
        self.stated["refused"] = "yes"
        self.stated["note"] = self.stated["note"] or row.refused
        if row.damaged or any(
            row.values.get(name) is not None for name in ("Reply: quote", "Reply: promised", "Reply: quantity")
        ):
            self.questions.ask(
                REFUSED,
                f"The supplier writes “{row.refused}”, and gives a price or a delivery as well.",
                ("it is no bid", {"refused": "yes"}),
                ("the price or the delivery holds", {"refused": ""}),
            )

    def _read_price(self) -> None:
        row, asked_for, pack = self.row, self.asked_for, self.pack
        price = row.number("Reply: quote")
        self.stated["price"] = as_text(price)
        until = row.day("Reply: valid to") or validity_in(self.stated["note"], self.context.odd.today)
        self.stated["valid"] = until.isoformat() if until else ""
        packs_of = [pack]
        if asked_for is not None and pack != asked_for.pack_size:
            packs_of.append(asked_for.pack_size)
            says = f"The pack was changed from {as_text(asked_for.pack_size)} to {as_text(pack)}."
            if price is None:
                self.questions.ask(
                    PRICE, says, *((f"packs of {as_text(one)}", {"pack": as_text(one)}) for one in packs_of)
                )
            else:
                self.questions.ask(PRICE, says, *price_readings(price, packs_of, whole_line=Decimal(1)))
        if price is None:
            return
        packs = pieces_of(row, asked_for) or (asked_for.packs * asked_for.pack_size if asked_for else Decimal(1))
        readings = price_readings(price, packs_of, whole_line=packs / pack)
        if row.price_is_for not in ("", PACK) and pack != 1:
            one = "piece" if row.price_is_for == EACH else row.price_is_for
            says = f"The price is given for one {one}, and a pack holds {as_text(pack)}."
            self.questions.ask(PRICE, says, *readings)
        if (times := self._jump(price / pack)) is not None:
            self.questions.ask(PRICE, times, *readings)
        self._read_currency()

    def _read_breaks(self) -> None:
        """Price breaks: from so many packs on a pack costs so much, each break from more packs on and for less."""
        told = [
            (self.row.number(f"Reply: from packs{which}"), self.row.number(f"Reply: price then{which}"))
            for which in ("", ", next")
        ]
        written = [(start, price) for start, price in told if start is not None or price is not None]
        breaks = [(int(start), price) for start, price in written if start is not None and price is not None]
        price = self.row.number("Reply: quote")
        steps = [] if price is None else [(1, price), *breaks]
        falls = all(more > few and less < dear for (few, dear), (more, less) in pairwise(steps))
        if len(steps) == len(written) + 1 and falls:
            self.stated["breaks"] = breaks_text(breaks)
        elif written:
            says = "The price breaks are not lower prices from more packs on each: write them below, or clear them."
            self.questions.ask(PRICE, says, ("without the breaks", {"breaks": ""}))

    def _jump(self, cost: Decimal) -> str | None:
        """How far a price lies from that of the offers, as a sentence, if it is further than the shop lets pass."""
        asked_for, item = self.asked_for, self.item
        if item is None or not cost:
            return None
        before = self.context.costs.get((self.supplier.pk, item.pk)) if self.supplier else None
        if not before and asked_for is not None and asked_for.price_per_pack:
            before = asked_for.price_per_pack / asked_for.pack_size
        if not before or 1 / self.context.jump <= cost / before <= self.context.jump:
            return None
        unit = "piece" if item.stock_unit == EACH else item.stock_unit
        return f"It makes {_fine(cost)} a {unit}, and what is offered here makes {_fine(before)}."

    def _read_currency(self) -> None:
        said = self.row.currencies
        own = (self.supplier.currency if self.supplier else "") or self.context.currency
        if not said or own in said:
            return
        self.stated["currency"] = said[0]
        readings = [(f"in {code}", {"currency": code}) for code in (*said, own) if code]
        self.questions.ask(
            CURRENCY, f"The price is in {said[0]}, and the supplier sells in {own or 'no currency'}.", *readings
        )

    def _read_quantity(self) -> None:
        row, asked_for, item, pack = self.row, self.asked_for, self.item, self.pack
        number, day = row.number("Reply: quantity"), row.day("Reply: promised")
        if number is None:
            if day is not None and asked_for is not None and not row.damaged:
                suggested = as_text(asked_for.packs * asked_for.pack_size)
                self.stated["quantity"] = suggested
                self.remarks.append(f"There is a day but no quantity: the suggested {suggested} stands here instead.")
            return
        if day is None and not row.damaged:
            self.remarks.append("There is a quantity but no promised day: it is asked for when the line is ordered.")
        quantity = self._in_stock_unit(number)
        self.stated["quantity"] = as_text(quantity)
        if quantity is None or item is None or self.questions.by_topic.get(QUANTITY):
            return
        readings = quantity_readings(number, pack, item.stock_unit)
        if quantity % pack:
            self.questions.ask(
                QUANTITY, f"{as_text(quantity)} is no whole number of packs of {as_text(pack)}.", *readings
            )
        elif asked_for and pack != 1 and not row.counts and number == asked_for.packs and quantity < asked_for.short:
            says = f"{as_text(number)} is as many as the packs that were suggested, but fewer pieces than are short."
            self.questions.ask(QUANTITY, says, *readings)
        if asked_for is not None:
            self._set_against_need(quantity, asked_for)

    def _in_stock_unit(self, number: Decimal) -> Decimal | None:
        """A quantity in our unit; where the supplier may have counted in another one, both readings are offered."""
        item, pack, unit, counts = self.item, self.pack, self.row.text("Unit"), self.row.counts
        if counts == PACK:
            self.row.notes.append(f"{as_text(number)} × {as_text(pack)} in a pack = {as_text(number * pack)}.")
            return number * pack
        if unit == PACK and not counts:
            readings = quantity_readings(number, pack, item.stock_unit if item else "each")
            self.questions.ask(QUANTITY, "The unit was changed to packs.", *readings)
            return None
        unit = counts or unit
        if item is None or not unit or unit == item.stock_unit:
            return number
        as_it_stands = (f"{as_text(number)} {item.stock_unit}", {"quantity": as_text(number)})
        try:
            worked_out = from_millionths(to_millionths(number, unit, item.stock_unit))
        except BomError:
            says = f"The unit was changed to {unit}, but {item} is counted in {item.stock_unit}."
            self.questions.ask(QUANTITY, says, as_it_stands)
            return None
        converted = f"{as_text(number)} {unit} = {as_text(worked_out)} {item.stock_unit}"
        if counts:
            self.row.notes.append(f"{converted}.")
            return worked_out
        self.questions.ask(
            QUANTITY,
            f"The unit was changed to {unit}.",
            (converted, {"quantity": as_text(worked_out)}),
            as_it_stands,
        )
        return worked_out

    def _set_against_need(self, quantity: Decimal, asked_for: ShortageLine) -> None:
        stated = self.context.stated[key_of(self.row)] or quantity
        suggested = asked_for.packs * asked_for.pack_size
        if stated < asked_for.short:
            left = as_text(asked_for.short - stated)
            self.remarks.append(f"Of the {as_text(asked_for.short)} short it leaves {left} uncovered.")
        elif stated > suggested:
            says = f"{as_text(stated)} is more than the {as_text(suggested)} that were suggested."
            self.questions.ask(QUANTITY, says, (f"{as_text(quantity)} is meant", {"quantity": as_text(quantity)}))

    def _read_day(self) -> None:
        day, asked_for, odd = self.row.day("Reply: promised"), self.asked_for, self.context.odd
        self.stated["promised"] = day.isoformat() if day else ""
        if day is None:
            return
        if day < odd.today:
            self.questions.ask(PROMISED, f"The promised day {in_full(day)} has passed: ask for another.")
        elif doubt := odd.of_promise(day):
            meant = f"{in_full(day)} is meant"
            self.questions.ask(PROMISED, asked(doubt, ASK_SUPPLIER), (meant, {"promised": day.isoformat()}))
        elif asked_for is not None and asked_for.need_on and day > asked_for.need_on:
            late = odd.calendar.between(asked_for.need_on, day)
            self.remarks.append(f"It comes {late} working day{'' if late == 1 else 's'} after the first need.")

    def _read_lead(self) -> None:
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
        self.stated["lead"] = str(own)

    def _set_beside(self) -> None:
        """What stands on today's list."""
        self.remarks += self.row.remarks
        asked_for = self.asked_for
        if asked_for is None or self.item is None:
            return
        self.before = {
            "supplier": asked_for.supplier,
            "pack": as_text(asked_for.pack_size),
            "price": as_text(asked_for.price_per_pack),
            "quantity": as_text(asked_for.packs * asked_for.pack_size),
            "short": as_text(asked_for.short),
            "promised": "",
            "needed": asked_for.need_on.isoformat() if asked_for.need_on else "",
        }
        short = self.row.number("Short")
        if short is not None and short != asked_for.short:
            says = f"Short when the sheet was written: {as_text(short)}; short today: {as_text(asked_for.short)}."
            self.questions.ask(LINE, says, ALL_THE_SAME)
        if fold(self.stated.get("supplier", "")) not in ("", fold(asked_for.supplier)):
            self.remarks.append(f"The plan reckoned with {asked_for.supplier or 'no offer'}.")


def _fine(cost: Decimal) -> str:
    return price_text(cost.quantize(Decimal("0.01") if cost >= 1 else Decimal("0.0001")))
