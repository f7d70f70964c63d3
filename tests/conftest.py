"""Stands here so that tests in the folders below find the helpers beside it."""
