"""What the model leaves out, and what in it has been held against nothing measured.

The one place where this is written: ``handlap validity`` prints it, and a test holds the table of
the README to it.
"""

from __future__ import annotations

LEFT_OUT: tuple[tuple[str, str], ...] = (
    (
        "what happens at the leading edge beyond tilt",
        "real roll-off in the outer 10–25 mm is under-predicted",
    ),
    ("grit wearing down, and the bedding length with it", "old paper acts finer than its grade"),
    (
        "heat",
        "at 60 W of arm work an aluminium head bows by some 2.5 µm, an iron sole by some 5 µm: "
        "let it cool before measuring",
    ),
    (
        "inertia at the reversals",
        "not estimated; brisk short strokes of a heavy part make it larger",
    ),
    (
        "stress in the metal released by the cut",
        "not estimated; a face may move after it was flat",
    ),
    ("swarf ploughing, loose grit", "not estimated: brush often"),
    (
        "how strokes really sway",
        "each is taken to run up to some 4 mm beside its line, our choice; nobody has measured it. "
        "Only the paper's wear feels it",
    ),
    (
        "the sag of glass moving with the part",
        "the sag is that of mid-stroke, the deepest: what the gap does to the face is somewhat overstated",
    ),
    (
        "paper draping over a step",
        "it bridges about a millimetre beside the lower piece; here the step is spread over one cell "
        "of the computation",
    ),
    (
        "shear in a thin part",
        "it bends as a Kirchhoff plate: good where the span is some ten thicknesses, a little too stiff "
        "in thicker parts, which hardly bend anyway",
    ),
    (
        "a load below which nothing is cut",
        "not estimated; with light press on fine paper the true rate may be lower",
    ),
)
"""What is not computed, and how much it may matter."""

UNPROVEN: tuple[str, ...] = (
    "No lap on a real part has been compared with the model yet: every check below holds the "
    "computation, not the bench.",
    "How fast paper cuts, and that its rate goes with the grain to a power: from memory or derived, "
    "within a factor of 3.",
    "The law by which paper loads and dulls, and what brushing gives back: derived, within 2.5; "
    "never held against a sheet.",
    "When dye fades and when it is gone: common practice and derived, each depth within a factor of 2; "
    "no film was measured.",
    "The bedding length of a paper, 0.12 of its grain: derived; not measured for any paper.",
    "How far hands wander, how high they push and how unevenly: from memory and guesses, with wide "
    "spreads; nobody's hands were measured.",
    "The survey is held against invented faces only, of six families; no face was felt and then "
    "measured by other means.",
    "What a log teaches is held against jobs invented with the same model; a model wrong in details "
    "costs more than the bands tell.",
    "Roll-off at the very edges: the model has only the tilt of the part, and no check covers the rest.",
    "A part that bends on the paper: its stiffness is held against printed plates, its contact only "
    "against a slower computation.",
    "Sag of float glass, pieces of paper lapping over one another, lumps under the paper: closed forms "
    "of beams and steps at best; at a step in the paper the computation itself is good to some tens of µm.",
    "When to turn, brush and change the sheet: rules of proportion, not optima, and held against no work.",
)
"""What the figures rest on without having been held against a measurement."""
