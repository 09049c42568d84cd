"""Which blades are usually off: what blades share is learnt while these are off, and judged only then.

A blade that is off no longer warms what stands behind it, and passes its air on. Others being off for as long as the
usual was seen, or for so many rounds at most, becomes the usual itself.
"""

from __future__ import annotations

from collector.assess.looks.memory import Learnt


class Home:
    """One controller's usual."""

    def __init__(self, longest: int) -> None:
        """``longest``: rounds after which others being off becomes the usual, at most."""
        self._longest = longest
        self._off: frozenset[str] | None = None
        self._rounds = 0

    @property
    def known(self) -> bool:
        """Whether anything is usual yet."""
        return self._off is not None

    def away(self, off: frozenset[str]) -> bool:
        """Take a round: whether others are off than usual."""
        if off == self._off:
            self._rounds = min(self._rounds + 1, self._longest)
            return False
        self._rounds -= 1
        return True

    @property
    def left(self) -> bool:
        """Whether others have been off for so long that what was usual is so no more: see :meth:`settle`."""
        return self._rounds <= 0

    def settle(self, off: frozenset[str]) -> None:
        """That these are off is the usual from now on."""
        self._off = off

    def learnt(self) -> tuple[dict[str, tuple[float, ...]], dict[str, tuple[str, ...]]]:
        """What outlasts a restart, for :class:`Learnt`: its figures and its words."""
        if self._off is None:
            return {}, {}
        return {"home": (float(self._rounds),)}, {"home": tuple(sorted(self._off))}

    def recall(self, learnt: Learnt) -> None:
        """Take it up."""
        if "home" in learnt.figures:
            self._off = frozenset(learnt.words.get("home", ()))
            self._rounds = max(0, min(int(learnt.figures["home"][0]), self._longest))
