"""What the model leaves out, and what in it has been held against nothing measured.

The one place where this is written: ``handlap validity`` prints it, and a test holds the table of
the page on the model (``handlap explain model``) to it.
"""

from __future__ import annotations

LEFT_OUT: tuple[tuple[str, str], ...] = (
    (
        "what makes rolled ends as steep as they are found",
        "real ends are reported steeper: by a factor of 3 or more in the outer 6 mm of used soles; paper "
        "that lies loose comes nearer",
    ),
    (
        "where along its stroke a spot of paper wears",
        "it is spread over the whole stroke and its sway: on a lump or where the part hangs over an edge, "
        "paper that bears more is taken no blunter than the rest",
    ),
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
        "they are taken to lie about their line with a deviation of 5 mm (×/÷ 1.6), our choice; nobody has "
        "measured it. Only the paper's wear feels it; 1 mm moves the sides of a face by 0.5 to 1.5 µm",
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
    "The law by which paper loads and dulls, its floors, and what brushing gives back: derived, within 2.5, "
    "and fitted to facts of the trade, which are no evidence for it; never held against a sheet.",
    "That blunt paper beds less deep, that clogged paper rubs harder, that the leading edge is cut faster "
    "and the paper rises before it: derived or from memory, within a factor of 1.4 to 3.",
    "How deep a paper's scratches have to be followed, twice its Ra: derived, within 1.7; the choice of the "
    "first paper and of the finer ones rests on it.",
    "When dye fades and when it is gone: common practice and derived, each depth within a factor of 2; "
    "no film was measured.",
    "The bedding length of a fresh paper, 0.12 of its grain: derived; not measured for any paper.",
    "How far hands wander, how high they push and how unevenly: from memory and guesses, with wide "
    "spreads; nobody's hands were measured.",
    "The survey is held against invented faces only, of six families; no face was felt and then "
    "measured by other means.",
    "What a log teaches is held against jobs invented with the same model; a model wrong in details "
    "costs more than the bands tell.",
    "Roll-off at the very edges: fitted to what ends of soles and heads are said to show, and still short "
    "of it.",
    "A part that bends on the paper: its stiffness is held against printed plates, its contact only "
    "against a slower computation.",
    "Sag of float glass, pieces of paper lapping over one another, lumps under the paper: closed forms "
    "of beams and steps at best; at a step in the paper the computation itself is good to some tens of µm.",
    "When to turn and brush: rules of proportion, not optima; when to change the sheet: best by the model of "
    "one sheet; both held against no work.",
)
"""What the figures rest on without having been held against a measurement."""
