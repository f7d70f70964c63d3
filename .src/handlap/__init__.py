"""The package as a checkout has it: its folders stand at the root of the repository.

Python finds them by this file and needs the links beside it for nothing, so that a checkout without links
(Windows, some downloads) works; the links are for tools that read imports without running them.  What is
installed has no such file: there ``handlap`` is a namespace package.
"""

from pathlib import Path

__path__ = [str(Path(__file__).resolve().parents[2])]
