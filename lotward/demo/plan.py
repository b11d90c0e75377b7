"""What was made, delivered, checked and sent in two weeks: plain tables.

Days are counted in working days, from 0 to 9; ``clock.Days`` says which dates they are.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Final

FIRST_DAY: Final = date(2026, 1, 5)
"""Day 0 where a date is written out, here and in ``fixtures/harrow_lane.json``."""
LAST: Final = 9
"""The newest day; on it everything is left where somebody can go on."""


@dataclass(frozen=True)
class Arrival:
    """A lot that comes in, on the evening of its day; what is bought, in the morning."""

    on: int
    part: str
    revision: str
    bags: int
    reject: str = ""
    """Why the check rejects it."""
    defect: str = ""
    """Code of the defect that most bad pieces have."""
    cut_from: int | None = None
    """Day of the visor lot that it was cut down from."""


@dataclass(frozen=True)
class Kind:
    """How lots of a part come: container, pieces in it, from whom, of what."""

    container: str
    pieces: int
    source: str
    method: str = ""
    material: str = ""
    each: int = 0
    """Material for one piece, in the material's unit."""
    years: int = 0
    """Years until the use-by date; 0 for none."""


KINDS: Final[dict[str, Kind]] = {
    "HB": Kind("tote", 100, "Print room", "PRINT-S7", "FI", 38),
    "CH": Kind("tote", 120, "Print room", "PRINT-S7", "FI", 14),
    "VI": Kind("open tray", 120, "Cutting table", "CUT-S2", "SH", 45),
    "VS": Kind("open tray", 120, "Cutting table", "CUT-S2", "SH", 36),
    "EL": Kind("open tray", 200, "Band table", "SNIP-S1", "BD", 400, years=6),
    "MA": Kind("bundle", 100, "Copy shop on the quay"),
    **{code: Kind("bundle", 10, "Carton works") for code in ("C6", "C24", "C60")},
    "FI": Kind("roll", 20_000, "Filament wholesaler"),
    "SH": Kind("roll", 25_000, "Plastics wholesaler"),
    "BD": Kind("roll", 400_000, "Haberdasher"),
}

RAW: Final = ("FI", "SH", "BD")
BOUGHT: Final = (*RAW, "MA", "C6", "C24", "C60")
"""Parts that come in the morning, with the number of whoever made them."""

NEW_SETTINGS_ON: Final = 4
"""From this day on the printers run with PRINT-S8."""

ARRIVALS: Final[tuple[Arrival, ...]] = (
    Arrival(0, "FI", "1", 5),
    Arrival(0, "SH", "1", 4),
    Arrival(0, "BD", "1", 3),
    Arrival(0, "MA", "3", 4),
    Arrival(0, "HB", "C", 4),
    Arrival(0, "CH", "B", 4),
    Arrival(0, "VI", "A", 4),
    Arrival(0, "EL", "A", 4),
    Arrival(1, "HB", "C", 2),
    Arrival(1, "VS", "A", 2),
    Arrival(2, "HB", "C", 2, reject="Layers split at the clip", defect="SPLIT"),
    Arrival(2, "VI", "A", 3),
    Arrival(2, "CH", "B", 3),
    Arrival(3, "FI", "1", 3),
    Arrival(3, "HB", "C", 3, reject="Colour runs in streaks", defect="STAIN"),
    Arrival(3, "VI", "A", 2, reject="Scratched by a blunt blade", defect="SCRATCH"),
    Arrival(3, "VS", "A", 1, cut_from=2),
    Arrival(4, "HB", "C", 3),
    Arrival(4, "EL", "A", 6),
    Arrival(4, "CH", "B", 1, reject="They rock on a flat table", defect="WARPED"),
    Arrival(5, "SH", "1", 1, reject="Crushed in transit", defect="DENT"),
    Arrival(5, "HB", "D", 3),
    Arrival(5, "VI", "A", 3),
    Arrival(5, "CH", "B", 3),
    Arrival(6, "FI", "1", 3),
    Arrival(6, "SH", "1", 2),
    Arrival(6, "MA", "3", 1),
    Arrival(6, "C6", "1", 4),
    Arrival(6, "C24", "1", 4),
    Arrival(6, "C60", "1", 3),
    Arrival(6, "HB", "D", 3),
    Arrival(7, "HB", "D", 3),
    Arrival(7, "VI", "A", 2),
    Arrival(7, "CH", "B", 4),
    Arrival(8, "HB", "D", 3),
    Arrival(8, "VI", "A", 2),
    Arrival(8, "CH", "B", 2),
    Arrival(9, "HB", "D", 2),
)


@dataclass(frozen=True)
class FateOfLot:
    """What becomes of a rejected lot, and on which day."""

    day: int
    part: str
    made: int
    what: str
    """accept (under concession), send back or sort."""
    reason: str


FATES: Final[tuple[FateOfLot, ...]] = (
    FateOfLot(4, "HB", 3, "accept", "Looks only; strength tried on ten, all held"),
    FateOfLot(5, "VI", 3, "sort", ""),
    FateOfLot(6, "SH", 5, "send back", "Crushed in transit: replace, or refund"),
)

CUT_PIECES: Final = 90
"""Long visors cut down to short ones; the offcuts are of no use."""

OPEN_LOT_ON: Final = 8
"""On this evening a lot of headbands begins that is still open at the end."""

CARRIERS_ON: Final = 7
"""On this evening the carriers are made, and the first bags hang on one."""

DRILL_ON: Final = 6
LOOKED_LOT: Final = ("VS", 1)
LOOKED_FOR: Final = "A visor with a scratch: is it the whole lot?"
LOOKED_OVER: Final = "Forty looked at: it was the one"
DRILL_SEED: Final = "Harrow Lane, the first drill"
DRILL_SILENT: Final = 1
"""Which of the consignees, counted from 0, answers nobody's call."""
DRILL_REMARKS: Final = (
    "The list was quick. One store has no number for the night: ask for it."
)

COMPLAINTS: Final[
    tuple[
        tuple[int, str, str, str, tuple[str, int] | None, tuple[str, str, str] | None],
        ...,
    ]
] = (
    (
        5,
        "The visor fogs after ten minutes",
        "fault",
        "Ward 3",
        None,
        ("none", "Rubbed with a dry cloth, against the manual", "Told how to clean it"),
    ),
    (
        7,
        "Two clips broke in the ambulance, it was freezing",
        "could",
        "Ward 7",
        ("HB", 3),
        ("traced", "The lot is on hold, and samples are under test", "Told to wait"),
    ),
    (8, "Could the headband be softer at the back?", "wish", "Ward 1", None, None),
)
"""On which day a ward says what, how bad it is, of which lot if it read one off a part,
and what was decided."""

HELD_LOT: Final = ("HB", 3)
HOLD_ON: Final = 7
HOLD_REASON: Final = "A ward reports clips that break in the cold; under test"

CANCEL_BOX_ON: Final = 3
CANCEL_SHIPMENT_ON: Final = 6
VOID_ON: Final = 6

FAILED_RUN: Final = 3
"""The run that fails, counted from 0: two lamps had gone when it was read again."""

DOSIMETER_RUN: Final = 5
"""The run through which dosimeters were carried, while the radiometer was on loan."""

RATED_HOURS: Final = 9_000
LAMPS: Final[tuple[tuple[str, str, date, int], ...]] = (
    ("LINE-1", "Top 1", date(2025, 2, 3), 5_480),
    ("LINE-1", "Top 2", date(2025, 2, 3), 5_480),
    ("LINE-1", "Bottom 1", date(2024, 9, 16), 8_590),
    ("LINE-1", "Bottom 2", date(2025, 2, 3), 5_460),
    ("LINE-2", "Door", date(2025, 10, 6), 310),
    ("LINE-2", "Back", date(2025, 10, 6), 310),
)
"""Line, name, day of fitting, and hours burnt before the first day."""
GONE_LAMPS: Final = ("Top 2", "Bottom 2")
NEW_LAMPS_ON: Final = 5
"""The morning after the failed run."""
LAMPS_READ_ON: Final = 8
HOURS_SINCE: Final = 64

HEAT_RUN_ON: Final = 5
THERMOMETER: Final = "TH-0029"
WARMTH: Final = (
    *((0, 41_300), (5, 68_900), (10, 71_400), (15, 72_200), (20, 72_600)),
    *((25, 72_100), (30, 72_400), (35, 72_300), (40, 72_500), (45, 72_200)),
)
"""Minutes after the tray went in, and thousandths of a degree Celsius."""
MINUTES_WARM: Final = 46

NEEDED: Final = {"HB": 100, "CH": 80, "VI": 80, "VS": 20, "EL": 100}
"""Pieces of each part in a hundred sets, both products together."""

MOST_ON_LINE: Final = 12
FEWEST_ON_LINE: Final = 4
LAST_RUN_DAY: Final = 8
BEGUN_WITH: Final = 2
"""Bags that are on the line when the newest day is left."""

BOXES: Final = 84
SHARES: Final[tuple[tuple[int, int], ...]] = ((6, 64), (24, 26), (60, 10))
"""Sets in a box and how many of a hundred boxes are of that size."""

SHORT_SHARE: Final = 20
"""How many of a hundred boxes are of the short face shield."""

WANTED: Final = {("FS1EN", 6): 12, ("FS1EN", 24): 6, ("FS2EN", 6): 4}
"""Boxes that are wanted on the newest day, by product and sets."""

KEPT: Final = {7: 6, 8: 6, 9: 8}
"""Boxes that are kept in stock, by day."""
KEPT_OTHERWISE: Final = 2
LARGE: Final = ("EG", "STB", "TWC")
ROUND: Final = (
    *("EG", "LBH", "STB", "FHC", "TWC", "HXC"),
    *("EG", "MLC", "STB", "OAS", "TWC"),
)
"""Who is sent to, in turn; others are on the books and got nothing yet."""

ASKED: Final[tuple[tuple[int, str, str, int, int, int | None, str, str], ...]] = (
    (4, "EG", "FS1EN", 120, 2, 3, "telephone", "Stores, extension 214"),
    (5, "STB", "FS1EN", 60, 3, None, "mail", ""),
    (6, "LBH", "FS2EN", 12, 1, 1, "telephone", "Night sister, ward 3"),
    (7, "TWC", "FS1EN", 90, 2, 4, "mail", ""),
    (8, "EG", "FS1EN", 150, 1, 2, "telephone", "Stores, extension 214"),
    (9, "HXC", "FS1EN", 30, 1, 0, "telephone", "Practice manager"),
    (9, "FHC", "FS2EN", 40, 2, 3, "letter", ""),
    (9, "STB", "FS1EN", 200, 3, 7, "mail", ""),
    (9, "QMU", "FS1EN", 36, 2, 2, "telephone", "Unit supplies"),
    (9, "MLC", "FS1EN", 24, 2, 3, "mail", ""),
    (9, "OAS", "FS1EN", 12, 2, 1, "telephone", "Station officer"),
)
"""Day, consignee, product, sets, tier of need, in how many days, how, and who asked."""

VANS: Final = (
    ("Eskmoor Community Transport", "Driver on call", "Van 2"),
    ("", "Storekeeper of the workshop", "Workshop van"),
    ("Moor Road Couriers", "", ""),
)
"""Who takes shipments away, in turn: haulier, driver, vehicle."""

ALLOTTED: Final = "FS1EN"
"""The product of which more is asked than there is."""
MOVED: Final = "One is kept for the night: the infirmary may call"
"""Why a box of its allotment is not promised as it was proposed."""

BY_HAND: Final = "The label printer of the dock is to come; written by hand"
"""Why the shipments of the demo leave without labels of their own."""
