"""Mutants of which nothing can be seen, by module and name, each with its reason."""

NOTHING_TO_TAKE = "a supply of which nothing is left serves nothing"
NOTHING_DRAWN = "a draw of nothing is dropped later"
ONLY_SLOWER = "the same is worked out, only slower"
ALIKE = "all that are compared have the same there"
ROOMY = "the numbers that are packed are smaller than the room for them, and fit into 63 bits"
FIRST = "the first row of all gains on nothing either way"
REACH = "how far a group reaches is compared as well, and keeps the groups apart"
NO_OFFER = "the stand-in where there is no offer is compared with none, and nothing is bought for a need of nothing"

HARMLESS = {
    "bom/supply/bags.py": {
        "Bags.lacking: not self.recorded -> False": ONLY_SLOWER,
    },
    "bom/supply/matching.py": {
        "serve: pieces.build_day > _earliest_last_day(supplies, pieces.item) -> "
        "pieces.build_day >= _earliest_last_day(supplies, pieces.item)": ONLY_SLOWER,
        "_earliest_last_day: supplies.left > 0 -> supplies.left >= 0": ONLY_SLOWER,
        "_serve_end_to_end: supplies.left > 0 -> supplies.left >= 0": NOTHING_TO_TAKE,
        "_serve_end_to_end: begins < ends -> begins <= ends": NOTHING_DRAWN,
        "_serve_lot_by_lot: rest == 0 -> False": NOTHING_DRAWN,
        "_serve_lot_by_lot: break -> continue": NOTHING_DRAWN,
    },
    "bom/structure/tables.py": {
        "sorted_by: keys[0] -> keys[1]": ALIKE,
        "_packed: room >= 1 << 62 -> room > 1 << 62": ROOMY,
        "_packed: 1 << 62 -> 1 << 63": ROOMY,
        "_packed: key - least -> key + least": "all numbers move by as much",
        "_packed: 1 << 62 -> 1 >> 62": ONLY_SLOWER,
        "_packed: 1 << 62 -> 0 << 62": ONLY_SLOWER,
    },
    "bom/wear/planned.py": {
        "cover_items: not countable[item] -> True": "the covers of counted items are written over it",
        "_counted: quantity -> True": ONLY_SLOWER,
        "_counted: np.diff(found.cover, prepend=0) -> np.diff(found.cover, prepend=1)": FIRST,
        "_counted: np.diff(found.item, prepend=-1) -> np.diff(found.item, prepend=1)": FIRST,
        "_counted: np.diff(found.item, prepend=-1) -> np.diff(found.item, prepend=-0)": FIRST,
    },
    "bom/demand/chances.py": {
        "WearTable.of: job.spares -> True": ONLY_SLOWER,
        "_in_groups: np.where(inside | in_section, looks.section, -1) -> "
        "np.where(inside | in_section, looks.section, 1)": REACH,
        "_in_groups: np.where(inside | in_section, looks.section, -1) -> "
        "np.where(inside | in_section, looks.section, -0)": REACH,
        "_in_groups: np.where(inside, looks.root, -2) -> np.where(inside, looks.root, 2)": REACH,
        "_in_groups: np.where(inside, looks.root, -2) -> np.where(inside, looks.root, -3)": REACH,
        "_in_groups: np.where(inside, structure.parent[line], -1) -> "
        "np.where(inside, structure.parent[line], 1)": REACH,
        "_in_groups: np.where(inside, structure.parent[line], -1) -> "
        "np.where(inside, structure.parent[line], -0)": REACH,
    },
    "bom/buying/order_size.py": {
        "OfferBook._read: PackOffer('', '', inside, 1, 1, without_offer, (PriceBreak(1, None),), False) -> "
        "PackOffer('', '', inside, 0, 1, without_offer, (PriceBreak(1, None),), False)": NO_OFFER,
        "OfferBook._read: PackOffer('', '', inside, 1, 1, without_offer, (PriceBreak(1, None),), False) -> "
        "PackOffer('', '', inside, 1, 1, without_offer, (PriceBreak(1, None),), True)": NO_OFFER,
        "OfferBook.choose: len(quotes) == 1 -> len(quotes) == 0": ONLY_SLOWER,
        "OfferBook._sorting: day if late else 0 -> day if late else 1": ALIKE,
    },
    "bom/demand/kit_cover.py": {
        "_use_contents: kits.rank.max(initial=-1) -> kits.rank.max(initial=1)": ONLY_SLOWER,
        "_use_contents: kits.rank.max(initial=-1) -> kits.rank.max(initial=-0)": ONLY_SLOWER,
        "_choose: np.arange(fit.size) - np.searchsorted(entry, entry) -> "
        "np.arange(fit.size) + np.searchsorted(entry, entry)": ONLY_SLOWER,
        "_short: (left.root != NO_KIT) & (left.quantity > 0) -> "
        "(left.root != NO_KIT) | (left.quantity > 0)": "nothing is dropped later, and what is loose has no kit",
        "_short: left.quantity > 0 -> left.quantity >= 0": "a row of nothing is dropped later",
        "_IssuedTo._kits_first: int(self.structure.name_rank[root]) if root != NO_KIT else 0 -> "
        "int(self.structure.name_rank[root]) if root != NO_KIT else 1": ALIKE,
        "_Left.__init__: len(structure.items) + 1 -> len(structure.items) + 0": "only what is loose is "
        "taken for another, and no kit draws from it",
    },
}
