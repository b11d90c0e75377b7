"""What is made and packed: parts, revisions, methods, places, products, recipes."""

from __future__ import annotations

from enum import StrEnum

from django.db import models

from kitting.models.base import Guarded, check, once, one_of, word_field


class Unit(StrEnum):
    PIECE = "piece"
    GRAM = "gram"
    MM = "mm"


class PlaceKind(StrEnum):
    SHELF = "shelf"
    RACK = "rack"
    BENCH = "bench"
    LINE = "line"
    READY = "boxes ready"
    DOCK = "dock"
    QUARANTINE = "quarantine"


class Profile(StrEnum):
    NONE = "none"
    PPE = "ppe"
    DEVICE = "device"


class Per(StrEnum):
    SET = "set"
    BOX = "box"


class Part(models.Model):
    """A kind of component, or of raw material counted in grams or mm.

    Acceptance quality limits are stored in thousandths of a percent: 1000 is 1.0 %.
    """

    code = models.CharField(max_length=12, unique=True)
    name = models.CharField(max_length=60)
    unit = word_field(Unit, default=Unit.PIECE)
    mass_mg = models.PositiveIntegerField(null=True, blank=True)
    spread_mg = models.PositiveIntegerField(null=True, blank=True)
    needs_check = models.BooleanField(default=True)
    needs_clearing = models.BooleanField(default=True)
    sampled = models.BooleanField(default=False)
    check_level = models.CharField(max_length=4, default="II")
    aql_major = models.PositiveIntegerField(default=1_000)
    aql_minor = models.PositiveIntegerField(default=2_500)
    max_dose_uj_cm2 = models.PositiveBigIntegerField(null=True, blank=True)
    open_hours = models.PositiveIntegerField(null=True, blank=True)
    latex = models.BooleanField(default=False)
    manual = models.BooleanField(default=False)
    """Whether it is a text that goes into boxes, and has to say what is in them."""

    class Meta:
        default_permissions = ()
        ordering = ["code"]
        constraints = [one_of("kitting_part_unit_known", "unit", Unit)]

    def __str__(self) -> str:
        return self.name


class Yield(models.Model):
    """How many pieces of a part an amount of a material gives at most."""

    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="yields")
    material = models.ForeignKey(
        Part, on_delete=models.PROTECT, related_name="yields_from"
    )
    pieces = models.PositiveIntegerField()
    amount = models.PositiveIntegerField()

    class Meta:
        default_permissions = ()
        constraints = [
            once("kitting_yield_once", "part", "material"),
            check("kitting_yield_positive", pieces__gte=1, amount__gte=1),
        ]

    def __str__(self) -> str:
        return f"{self.pieces} from {self.amount}"


class Revision(models.Model):
    """A design state of a part, with the note of its change from the one before."""

    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="revisions")
    code = models.CharField(max_length=12)
    changed = models.CharField(max_length=200, blank=True)
    """What is new in it."""
    approved_by = models.CharField(max_length=60, blank=True)
    from_lot = models.CharField(max_length=40, blank=True)
    """The first lot of it."""
    old_stock = models.CharField(max_length=200, blank=True)
    """What becomes of pieces of the revision before."""
    manual_changes = models.BooleanField(default=False)
    """Whether the manual has to say what is new in it."""
    active = models.BooleanField(default=True)

    class Meta:
        default_permissions = ()
        ordering = ["part", "code"]
        constraints = [once("kitting_revision_once", "part", "code")]

    def __str__(self) -> str:
        return self.code


class Method(models.Model):
    """Machine group and settings version with which a lot is made.

    It is on trial until somebody releases it: nothing made with it is packed.
    """

    code = models.CharField(max_length=20, unique=True)
    machine_group = models.CharField(max_length=60)
    settings_version = models.CharField(max_length=20, blank=True)
    active = models.BooleanField(default=True)

    class Meta:
        default_permissions = ()
        ordering = ["code"]

    def __str__(self) -> str:
        return self.code

    @property
    def on_trial(self) -> bool:
        """Whether nobody has released it yet."""
        return getattr(self, "release", None) is None


class MethodPart(models.Model):
    """A part that is made with a method; a method without any is for every part."""

    method = models.ForeignKey(
        Method, on_delete=models.PROTECT, related_name="made_with_it", db_index=False
    )
    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="+")

    class Meta:
        default_permissions = ()
        ordering = ["method", "part__code"]
        constraints = [once("kitting_methodpart_once", "method", "part")]

    def __str__(self) -> str:
        return f"{self.method_id} makes {self.part_id}"


class MethodRelease(Guarded):
    """That a method is on trial no longer."""

    method = models.OneToOneField(
        Method, on_delete=models.PROTECT, related_name="release"
    )

    class Meta:
        default_permissions = ()

    def __str__(self) -> str:
        return f"release of {self.method_id}"


class Place(models.Model):
    """Where a bag or box stands; scanned or picked."""

    code = models.CharField(max_length=12, unique=True)
    name = models.CharField(max_length=60)
    kind = word_field(PlaceKind, default=PlaceKind.SHELF)
    active = models.BooleanField(default=True)

    class Meta:
        default_permissions = ()
        ordering = ["code"]
        constraints = [one_of("kitting_place_kind_known", "kind", PlaceKind)]

    def __str__(self) -> str:
        return self.name


class Product(models.Model):
    """What is packed: a face shield of one kind and label language."""

    code = models.CharField(max_length=8, unique=True)
    name = models.CharField(max_length=60)
    language = models.CharField(max_length=8, default="en")
    profile = word_field(Profile, default=Profile.NONE)
    cautions = models.TextField(blank=True)
    cautions_reviewed_by = models.CharField(max_length=80, blank=True)
    """Who looked at the cautions; outside a demo they are not printed before."""
    reference = models.CharField(max_length=20, blank=True)
    """Catalogue number of a medical device."""
    single_use = models.BooleanField(default=False)
    set_slips = models.BooleanField(default=False)
    """Whether a slip for each set comes out with the label of a box."""

    class Meta:
        default_permissions = ()
        ordering = ["code"]
        constraints = [one_of("kitting_product_profile_known", "profile", Profile)]

    def __str__(self) -> str:
        return self.name

    def caution_lines(self, *, demo: bool) -> tuple[str, ...]:
        """What is printed: outside a demo only what somebody looked at."""
        if not (demo or self.cautions_reviewed_by):
            return ()
        return tuple(line.strip() for line in self.cautions.splitlines() if line)


class LabelWord(models.Model):
    """A word that labels say, in a language that Lotward does not have itself."""

    language = models.CharField(max_length=8)
    word = models.CharField(max_length=60)
    """As labels name it, or the words of a protocol."""
    text = models.CharField(max_length=80)
    reviewed_by = models.CharField(max_length=80, blank=True)
    """Who speaks the language and looked at it."""

    class Meta:
        default_permissions = ()
        ordering = ["language", "word"]
        constraints = [once("kitting_labelword_once", "language", "word")]

    def __str__(self) -> str:
        return f"{self.word} ({self.language})"


class Recipe(models.Model):
    """One version of what one set and one box need."""

    product = models.ForeignKey(
        Product, on_delete=models.PROTECT, related_name="recipes"
    )
    version = models.PositiveSmallIntegerField()
    in_force = models.BooleanField(default=True)

    class Meta:
        default_permissions = ()
        ordering = ["product", "version"]
        constraints = [
            once("kitting_recipe_once", "product", "version"),
            once(
                "kitting_recipe_one_in_force",
                "product",
                condition=models.Q(in_force=True),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.product_id} version {self.version}"


class RecipeLine(models.Model):
    """How many pieces of a part one set or one box needs, and of which revision."""

    recipe = models.ForeignKey(Recipe, on_delete=models.PROTECT, related_name="lines")
    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="+")
    per = word_field(Per, default=Per.SET)
    pieces = models.PositiveIntegerField()
    revision = models.ForeignKey(Revision, on_delete=models.PROTECT, related_name="+")
    sets = models.PositiveIntegerField(null=True)
    """Of a line that counts in one box size only, as a carton does: its sets."""

    substituted: bool = True
    paired: bool = True
    """Whether its version has substitutes and pairs, where that was read along."""

    class Meta:
        default_permissions = ()
        ordering = ["recipe", "id"]
        constraints = [
            once("kitting_recipeline_once", "recipe", "part"),
            check("kitting_recipeline_pieces", pieces__gte=1),
            check("kitting_recipeline_sets", sets__gte=1),
            one_of("kitting_recipeline_per_known", "per", Per),
        ]

    def __str__(self) -> str:
        return f"{self.pieces} of {self.part_id} per {self.per}"

    def needed(self, sets: int) -> int:
        """Pieces that a box of so many sets needs."""
        if self.sets not in (None, sets):
            return 0
        return self.pieces * (sets if self.per == Per.SET else 1)


class RecipeSubstitute(models.Model):
    """What a line takes in place of its revision: one of the same part or of another."""

    line = models.ForeignKey(
        RecipeLine,
        on_delete=models.PROTECT,
        related_name="substitutes",
        db_index=False,
    )
    nth = models.PositiveSmallIntegerField()
    """The order of preference: the lower, the rather."""
    revision = models.ForeignKey(
        Revision, on_delete=models.PROTECT, related_name="stands_in"
    )

    class Meta:
        default_permissions = ()
        ordering = ["line_id", "nth"]
        constraints = [
            once("kitting_recipesubstitute_nth", "line", "nth"),
            once("kitting_recipesubstitute_once", "line", "revision"),
        ]

    def __str__(self) -> str:
        return f"{self.revision_id} in line {self.line_id}"


class RecipePair(models.Model):
    """That a revision goes only with another, of those that fill the other's line.

    Of one that is named in several pairs, each other one will do. What is not named
    goes with everything.
    """

    recipe = models.ForeignKey(
        Recipe, on_delete=models.PROTECT, related_name="pairs", db_index=False
    )
    revision = models.ForeignKey(Revision, on_delete=models.PROTECT, related_name="+")
    other = models.ForeignKey(Revision, on_delete=models.PROTECT, related_name="+")

    class Meta:
        default_permissions = ()
        ordering = ["recipe", "id"]
        constraints = [
            once("kitting_recipepair_once", "recipe", "revision", "other"),
        ]

    def __str__(self) -> str:
        return f"{self.revision_id} only with {self.other_id}"


class BoxSize(models.Model):
    """How many sets of a product a box holds."""

    product = models.ForeignKey(Product, on_delete=models.PROTECT, related_name="sizes")
    sets = models.PositiveIntegerField()
    gtin = models.CharField(max_length=14, unique=True, null=True, blank=True)
    carton = models.ForeignKey(
        Part, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    """A part like others: what the empty box weighs is its mass."""
    weigh = models.BooleanField(default=False)
    active = models.BooleanField(default=True)

    class Meta:
        default_permissions = ()
        ordering = ["product", "sets"]
        constraints = [
            once("kitting_boxsize_once", "product", "sets"),
            check("kitting_boxsize_sets", sets__gte=1),
        ]

    def __str__(self) -> str:
        return f"{self.product_id} × {self.sets}"
