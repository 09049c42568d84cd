"""Something that a script waits for."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass


class Bell:
    """Rung by who has something to tell, heard by the one who waits. Rung early, it is heard at once."""

    __slots__ = ("_listener", "_rung")

    def __init__(self) -> None:
        self._rung = False
        self._listener: Callable[[], None] | None = None

    def ring(self) -> None:
        """Wake who waits, or the next one who will."""
        listener, self._listener = self._listener, None
        if listener is None:
            self._rung = True
        else:
            listener()

    def wait(self, listener: Callable[[], None]) -> bool:
        """Have ``listener`` called once when the bell rings; False, and no call, when it has rung already."""
        if self._rung:
            self._rung = False
            return False
        self._listener = listener
        return True

    def leave(self) -> None:
        """Wait no longer."""
        self._listener = None


@dataclass(frozen=True, slots=True)
class Pause:
    """A step of a script: wait until the bell rings, at most ``seconds``."""

    seconds: float
    bell: Bell
