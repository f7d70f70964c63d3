"""Columns of the tables that kernels are given and fill in, and what a march answers."""

from __future__ import annotations

(X, Y, COS, SIN, LOAD, EU, EV, EU_STEADY, EV_STEADY, SLIDE, MOVE_U, MOVE_V, TWIST) = range(13)
"""Columns of a pose: place and turn of the part on the plate, load, where the load acts with
and without wobble (scaled by the half length of the face), sliding distance of the part's
middle, direction of motion in the frame of the part, turn per sliding distance times half length."""
POSE_COLUMNS = 13
EVENT_BRUSH, EVENT_SHEET, EVENT_SNAPSHOT = 1, 2, 4
STATUS_OK, STATUS_NO_CONVERGENCE, STATUS_NO_CONTACT, STATUS_NO_RASTER = 0, 1, 2, 3
(K_RATE, K_BEDDING, K_HALF, K_CELL, K_CAP, K_MEAN_AREA, K_WEIGHT) = range(7)
"""Constants of a lap: rate of the paper [m²/N], bedding length λ of fresh paper [m], half length of the face
and size of a cell [m], furthest the solver may move a spot at once [m], area of the face [m²], weight of the
part [N]."""
(P_X0, P_Y0, P_STEP_X, P_STEP_Y, P_FLOOR_LOAD, P_FLOOR_DULL, P_SCALE_LOAD, P_SCALE_DULL) = range(8)
(P_BRUSH_LEAVES, P_BLUNT, P_REACH) = range(8, 11)
PAPER_CONSTANTS = 11
"""What the paper remembers and how: lowest node of the raster, its spacing along x and y [m], floors [-] and
scales [m] of loading and dulling; share of the loading that brushing leaves, of λ that blunt paper keeps [-];
how much further forward the resultant lies on clogged paper than on fresh, over the half length [-]."""
(N_CLEAN, N_SHARP, N_CLOGGED) = range(3)
"""What is noted of the paper at each snapshot: how clean and how sharp it is under the part, from 1 (new)
to 0 [-]; Σ load × sliding × (1 − clean) so far [N·m]."""
NOTED = 3
(D_EVALUATIONS, D_CLIPPED, D_TIPPED, D_FAILED_ROW, D_DEPOSITED, D_OFF_PAPER) = range(6)
"""What a march counts: evaluations of the face, rows held in the hull by their wobble, rows that tip, the row
that failed, metal laid on the paper [m³], rows partly off the paper."""
DIAGNOSTICS = 6
