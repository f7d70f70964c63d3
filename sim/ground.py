"""Placeholder of the lead until the ground module lands; overwrite it."""
def is_flat(scenario):
    return True
def ground_of(*a, **k):
    raise NotImplementedError
N_PLATE_SCORES = 8
