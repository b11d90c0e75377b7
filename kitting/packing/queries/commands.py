"""What each command label does, in words."""

from __future__ import annotations

from django.utils.translation import gettext as _

from kitting.domain import commands
from kitting.domain.commands import Do
from kitting.models import BoxSize, DefectKind, Workshop
from kitting.web.figures import amount


def command_list() -> list[tuple[str, str]]:
    """Every command label but those of box sizes, with what it does."""
    reprints = [
        (f"ACT-PRINT-{end}", _("Print the label again: %s") % words.lower())
        for end, words in commands.PRINT_REASONS.items()
    ]
    cancels = [
        (f"ACT-CANCEL-{end}", _("Cancel the open box: %s") % words.lower())
        for end, words in commands.CANCEL_REASONS.items()
    ]
    bad = [
        (f"ACT-BAD-{commands.end_of(reason)}", _("Scrap a bad piece: %s") % reason)
        for reason in Workshop.objects.get(pk=1).scrap_list
    ]
    return [
        ("ACT-CLOSE", _("Close the box and print its label")),
        ("ACT-PRINT", _("Print the label; asks for a reason when it was printed")),
        *reprints,
        ("ACT-UNDO", _("Show what can be undone; “yes” undoes what was done last")),
        ("ACT-CANCEL", _("Cancel the open box; asks for the reason")),
        *cancels,
        ("ACT-HAND-OVER", _("Hand the open box over to another bench; asks which")),
        ("ACT-STOP", _("Start no other box by itself after this one")),
        ("ACT-TAKE-OUT", _("Take out of the box what is on hold, or open too long")),
        (
            "ACT-QUARANTINE",
            _("Put the box or the open bag that is on hold in quarantine"),
        ),
        ("ACT-TAKE-OFF", _("Take the open bag off the bench that is scanned next")),
        (
            "ACT-CLEAR",
            _("Clear the bench: scan an open bag, then the place it goes to"),
        ),
        ("ACT-SET-BACK", _("Set back a bag that was open for too long; asks which")),
        ("ACT-COUNT", _("Say what is wrong with the count of a bag; asks for the bag")),
        ("ACT-EMPTY", _("That bag is empty; asks what is missing in the box")),
        ("ACT-MORE", _("More is in that bag than on record; asks how much")),
        ("ACT-EXTRA", _("One too many is in that bag: into the waste with it")),
        ("ACT-BAD", _("A piece of that bag is bad; asks for the reason")),
        *bad,
        *((f"ACT-{digit}", _("Answer or figure %s") % digit) for digit in range(10)),
        ("ACT-TEN", _("Ten more than the numbers that are shown")),
        ("ACT-YES", _("Answer yes to what the screen asks")),
        ("ACT-NO", _("Answer no to what the screen asks")),
        ("ACT-NEXT", _("Show the next thing to do")),
    ]


def size_commands() -> list[tuple[str, str]]:
    """The command that starts a box of each size that is packed, with what it does."""
    sizes = list(
        BoxSize.objects.filter(product__recipes__in_force=True, active=True)
        .select_related("product")
        .order_by("sets", "product__code")
        .distinct()
    )
    sets = [size.sets for size in sizes]
    found = []
    for size in sizes:
        of = f"{size.product.code}-" if sets.count(size.sets) > 1 else ""
        command = f"ACT-BOX-{of}{size.sets}"
        found.append((command, words_of_command(command) or ""))
    return found


def desk_commands() -> list[tuple[str, str]]:
    """What is scanned at a desk, on the pages of lots and bags, with what it does.

    Figures are those of the bench.
    """
    kinds = DefectKind.objects.filter(in_use=True).order_by("code")
    defects = [
        (f"ACT-DEF-{kind.code}", _("One more piece: %s") % kind.name) for kind in kinds
    ]
    return [
        ("ACT-DO", _("Do the act of the page")),
        ("ACT-BACK", _("Back, without the act of the page")),
        ("ACT-FIND", _("From the trace to the page of what is traced")),
        ("ACT-LOT-NEW", _("Take in another lot like it")),
        ("ACT-BAG-NEW", _("Add bags to the lot")),
        ("ACT-LOT-CLOSE", _("Close the lot")),
        ("ACT-LOT-CHECK", _("Check the lot")),
        ("ACT-LOOKED", _("All was looked at")),
        *defects,
        ("ACT-DEF", _("One more piece with another defect")),
        ("ACT-BAG-COUNT", _("Count the bag again")),
        ("ACT-REASON", _("Scan the reason next")),
    ]


def words_of_command(text: str) -> str | None:
    """What a command label does.

    Args:
        text: The command as it is printed, in capitals.

    Returns:
        The words, or None for what is no command.
    """
    command = commands.read_command(text)
    if command is None or command.do is not Do.BOX:
        return dict((*command_list(), *desk_commands())).get(text)
    if text != text.strip().upper() or text.startswith("]"):
        return None
    said = _("Start a box of %(sets)s") % {"sets": amount(command.sets, "set")}
    if command.product:
        said = _("%(said)s of %(product)s") % {"said": said, "product": command.product}
    return said
