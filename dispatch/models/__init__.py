"""The tables of dispatch."""

from __future__ import annotations

from dispatch.models.allotment import (
    Allotment,
    AllotmentLine,
    AllotmentSize,
    Promise,
    PromiseRelease,
)
from dispatch.models.cases import Case, CaseBox, CaseHold, CaseLook, Sought
from dispatch.models.closings import Closing, ClosingBox, Reopening
from dispatch.models.complaints import Complaint, ComplaintNote
from dispatch.models.consignees import (
    Consignee,
    Merging,
    Request,
)
from dispatch.models.drills import Drill, DrillCall, DrillEnd, DrillList
from dispatch.models.effectiveness import EffectAnswer, EffectCheck, EffectConsignee
from dispatch.models.notices import (
    CallUndone,
    CaseCall,
    Letter,
    LetterBack,
    LetterBox,
    LetterSent,
    Replacement,
)
from dispatch.models.pallets import Pallet, PalletBox, PalletEvent, PalletScan
from dispatch.models.replies import Reply, ReplyBox, ReplyLink, ReplyTerm
from dispatch.models.shipments import (
    LogView,
    PassedOn,
    Receipt,
    ReceiptBox,
    ReceiptLink,
    Return,
    ReturnUndone,
    Settlement,
    ShipEvent,
    Shipment,
    ShipmentBox,
    ShipScan,
)

__all__ = [
    "Allotment",
    "AllotmentLine",
    "AllotmentSize",
    "CallUndone",
    "Case",
    "CaseBox",
    "CaseCall",
    "CaseHold",
    "CaseLook",
    "Closing",
    "ClosingBox",
    "Complaint",
    "ComplaintNote",
    "Consignee",
    "Drill",
    "DrillCall",
    "DrillEnd",
    "DrillList",
    "EffectAnswer",
    "EffectCheck",
    "EffectConsignee",
    "Letter",
    "LetterBack",
    "LetterBox",
    "LetterSent",
    "LogView",
    "Merging",
    "Pallet",
    "PalletBox",
    "PalletEvent",
    "PalletScan",
    "PassedOn",
    "Promise",
    "PromiseRelease",
    "Receipt",
    "ReceiptBox",
    "ReceiptLink",
    "Reopening",
    "Replacement",
    "Reply",
    "ReplyBox",
    "ReplyLink",
    "ReplyTerm",
    "Request",
    "Return",
    "ReturnUndone",
    "Settlement",
    "ShipEvent",
    "ShipScan",
    "Shipment",
    "ShipmentBox",
    "Sought",
]
