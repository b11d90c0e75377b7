"""Sentences for what is made and packed.

Keep the codes in alphabetical order.
"""

from __future__ import annotations

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from kitting.web.messages import register

SENTENCES: dict[str, str | Promise] = {
    "carton_counts_pieces": _(
        "%(part)s is not counted in pieces, so it is no carton. Choose another part."
    ),
    "gtin_stays": _(
        "Boxes with the GTIN %(gtin)s are closed, so it stays. Add another box size, or"
        " another product."
    ),
    "gtin_taken": _(
        "This GTIN belongs to boxes of %(sets)s of %(product)s already. A GTIN belongs to"
        " one product and size: use another."
    ),
    "gtin_wrong": _(
        "“%(read)s” is no GTIN of 14 digits with its check digit. Copy it from the list"
        " of your GS1 numbers."
    ),
    "method_closed": _(
        "Method %(method)s is not used any more. Choose the one that is used now, or"
        " set this one to be in use again."
    ),
    "method_is_released": _("Method %(method)s is released already."),
    "method_of_other_part": _(
        "%(part)s is not made with method %(method)s. Choose a method of this part, or"
        " add its settings on the page Methods."
    ),
    "method_own": _(
        "You added or changed method %(method)s, so somebody else releases it: here it"
        " takes two people."
    ),
    "method_stays": _(
        "Method %(method)s stays as it is: lots were made with it, or it is released."
        " Add other settings as a method of their own."
    ),
    "method_there": _(
        "Version %(version)s of the settings of %(machines)s is on record already, as"
        " method %(method)s. Use that one, or enter another version."
    ),
    "nothing_above": _(
        "There is no part above this line that it could take the place of. Enter it"
        " below its part, without an empty line between."
    ),
    "open_hours_out_of_range": _(
        "%(read)s hours cannot be right. Enter 1 to %(most)s whole hours, or leave it"
        " empty."
    ),
    "pair_in_one_line": _(
        "%(one)s and %(other)s are of one line, of which each takes the other's place."
        " Enter two that are of different lines."
    ),
    "pair_not_in_recipe": _(
        "%(revision)s is not in this recipe, so nothing is said of what it goes with."
        " Name a revision of its lines."
    ),
    "pair_twice": _("That %(one)s goes with %(other)s is there twice. Enter it once."),
    "part_mass_of_pieces": _(
        "%(part)s is not counted in pieces, so a piece of it has no mass. Leave the mass"
        " empty."
    ),
    "part_mass_out_of_range": _(
        "A piece of %(part)s cannot have this mass. Enter more than 0 g and at most"
        " 100 kg, or leave it empty."
    ),
    "part_spread_too_large": _(
        "The spread of %(part)s is not smaller than its mass. Enter both, or leave the"
        " spread empty."
    ),
    "part_stays": _(
        "Lots of %(part)s are on record, so its unit stays, and whether it is"
        " disinfected. Add another part for what is different."
    ),
    "product_stays": _(
        "Boxes of %(product)s are closed, so its language and its profile stay. Add"
        " another product for what is different."
    ),
    "recipe_counts_pieces": _(
        "%(part)s is not counted in pieces, so it is no part of a box. Choose another."
    ),
    "recipe_empty": _(
        "There is nothing in it that each set needs. Enter at least one part in each set."
    ),
    "recipe_is_in_force": _("Version %(version)s of %(product)s is in force already."),
    "recipe_part_twice": _(
        "%(part)s is in two lines. Enter it in one, with its other revisions in its"
        " place."
    ),
    "recipe_pieces_out_of_range": _(
        "The pieces of %(part)s cannot be right. Enter 1 to %(most)s."
    ),
    "recipe_revision_twice": _(
        "%(revision)s is there twice in one line. Enter it once."
    ),
    "recipe_size_unknown": _(
        "%(part)s is only for boxes of %(sets)s, and the product has no such box size."
        " Enter a size that it has, or add that size first."
    ),
    "revision_closed": _(
        "Revision %(revision)s of %(part)s is closed: no new lot of it is taken in."
        " Choose the revision that is made now, or ask a manager to open it again."
    ),
    "revision_malformed": _(
        "“%(read)s” is no revision. Use 1 to 12 capitals, digits, hyphens and full"
        " stops."
    ),
    "revision_never_packed": _(
        "%(revision)s could never be packed: of some other part nothing goes with it."
        " Name one that does, or leave it out."
    ),
    "revision_note_missing": _(
        "Say of revision %(revision)s what is new in it, who approved it, and what is"
        " done with the old stock."
    ),
    "revision_stays": _(
        "Lots of revision %(revision)s of %(part)s are on record, or somebody signed that"
        " it is covered, so what was said of it stays. Add another revision for what is"
        " different."
    ),
    "revision_taken": _(
        "%(part)s has a revision %(revision)s already. Choose another code."
    ),
    "sets_out_of_range": _(
        "%(read)s sets cannot be right. Enter 1 to %(most)s whole sets."
    ),
    "size_closed": _(
        "Boxes of %(sets)s of %(product)s are not packed any more. Choose another size,"
        " or ask a manager to open it again."
    ),
    "size_taken": _(
        "%(product)s has boxes of %(sets)s already. Choose another number of sets."
    ),
    "substitute_counts_alike": _(
        "As many are taken in its place as of the part above, in the same boxes. Leave"
        " this empty."
    ),
    "too_many_cautions": _(
        "There are more than %(most)s cautions. Keep those that the user needs."
    ),
    "too_many_pairs": _(
        "More is said of what goes together than a recipe keeps, at most %(most)s times."
        " Leave out what goes with everything."
    ),
    "weighed_without_carton": _(
        "Boxes of %(sets)s of %(product)s are weighed, and their carton is not named. Name"
        " it, or take away the tick that they are weighed."
    ),
    "weighed_without_mass": _(
        "Boxes of %(sets)s of %(product)s are weighed, and these parts have no mass:"
        " %(parts)s. Enter what one piece weighs on the page Parts first."
    ),
}

register(SENTENCES)
