"""Placeholder of the lead until the module lands; overwrite it."""
def refuse_proud(part):
    return None
