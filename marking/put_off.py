"""Imports that libraries make for what is hardly ever asked of them, put off until it is asked.

svgwrite compiles the grammar of SVG for checks that we leave out, and opens the way to the net for
fonts that we do not fetch; pydantic reads which packages are installed for plugins that we refuse.
Together they took a sixth of `write`.
"""

from __future__ import annotations

import sys
from contextlib import contextmanager
from importlib import import_module
from types import ModuleType
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator


@contextmanager
def put_off(*modules: str) -> Iterator[None]:
    """What is imported meanwhile gets functions of `modules` that import them when called.

    Modules that are imported already are given as they are, and who imports them later gets them.
    """
    stand_ins = {name: _StandIn(name) for name in modules if name not in sys.modules}
    sys.modules.update(stand_ins)
    try:
        yield
    finally:
        for name, stand_in in stand_ins.items():
            if sys.modules.get(name) is stand_in:
                del sys.modules[name]


class _StandIn(ModuleType):
    """Stands for a module of which nothing but functions is taken."""

    def __getattr__(self, name: str) -> Callable[..., Any]:
        if name.startswith("__"):
            raise AttributeError(name)

        def call(*words: Any, **named: Any) -> Any:
            # Called while it is still put off: it must not find itself.
            if sys.modules.get(self.__name__) is self:
                del sys.modules[self.__name__]
            return getattr(import_module(self.__name__), name)(*words, **named)

        return call
