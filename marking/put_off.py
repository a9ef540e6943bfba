"""Imports that libraries make for what is hardly ever asked of them, put off until it is asked.

svgwrite compiles the grammar of SVG for checks that we leave out, and opens the way to the net for
fonts that we do not fetch; pydantic reads which packages are installed for plugins that we refuse;
numpy makes ready to pickle, and gives its functions their help (`marking.lean_numpy`). Together
they took a fifth of `write`.
"""

from __future__ import annotations

import sys
from contextlib import contextmanager
from importlib import import_module
from types import ModuleType
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterator


@contextmanager
def put_off(*functions: str) -> Iterator[None]:
    """What is imported meanwhile by `from module import function` imports the module when called.

    `functions` are named whole, as "urllib.request.urlopen"; one may be a type that annotations
    alone speak of. Whatever else is taken of their modules, a class or an exception, is had from
    the module itself, imported at once. Modules that are imported already are given as they are,
    and who imports them later gets them. For the top of a module: another thread that imports them
    meanwhile gets the same.
    """
    late: dict[str, set[str]] = {}
    for function in functions:
        module, _, name = function.rpartition(".")
        late.setdefault(module, set()).add(name)
    stand_ins = {name: _StandIn(name, late[name]) for name in late if name not in sys.modules}
    sys.modules.update(stand_ins)
    try:
        yield
    finally:
        for name, stand_in in stand_ins.items():
            if sys.modules.get(name) is stand_in:
                del sys.modules[name]


class _StandIn(ModuleType):
    """Stands for a module of which, as a rule, nothing but its `late` functions is taken."""

    def __init__(self, name: str, late: set[str]) -> None:
        super().__init__(name)
        self._late = late

    def __getattr__(self, name: str) -> Any:
        if name.startswith("__"):
            raise AttributeError(name)
        if name not in self._late:
            return getattr(self.itself(), name)

        return _Late(self, name)

    def itself(self) -> ModuleType:
        """The module that it stands for."""
        # Asked while it is still put off, it must not find its stand-in.
        if sys.modules.get(self.__name__) is self:
            del sys.modules[self.__name__]
        return import_module(self.__name__)


class _Late:
    """A function that is there when it is called, or a type with which nothing is made."""

    def __init__(self, module: _StandIn, name: str) -> None:
        self._module, self._name = module, name

    def __call__(self, *words: Any, **named: Any) -> Any:
        return getattr(self._module.itself(), self._name)(*words, **named)

    def __getitem__(self, _: object) -> _Late:
        return self
