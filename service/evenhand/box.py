"""The bounding box in pixels that masks, layers and crops share."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, order=True)
class Box:
    """Half-open rectangle of pixels, ``top <= row < bottom`` and ``left <= column < right``.

    Coordinates are those of the upright photograph.

    Examples
    --------
    >>> box = Box(top=10, left=20, bottom=30, right=60)
    >>> box.height, box.width, box.area
    (20, 40, 800)
    >>> box.union(Box(0, 0, 5, 5))
    Box(top=0, left=0, bottom=30, right=60)
    """

    top: int
    left: int
    bottom: int
    right: int

    @property
    def height(self) -> int:
        """Rows in the box."""
        return max(0, self.bottom - self.top)

    @property
    def width(self) -> int:
        """Columns in the box."""
        return max(0, self.right - self.left)

    @property
    def area(self) -> int:
        """Pixels in the box."""
        return self.height * self.width

    @property
    def slices(self) -> tuple[slice, slice]:
        """Row and column slices that cut the box from a full-frame array."""
        return slice(self.top, self.bottom), slice(self.left, self.right)

    def union(self, other: Box) -> Box:
        """Smallest box that holds both; an empty box adds nothing.

        Parameters
        ----------
        other : Box

        Returns
        -------
        Box
        """
        if not self.area:
            return other
        if not other.area:
            return self
        return Box(
            min(self.top, other.top),
            min(self.left, other.left),
            max(self.bottom, other.bottom),
            max(self.right, other.right),
        )

    def intersection(self, other: Box) -> Box:
        """Largest box inside both, possibly empty.

        Parameters
        ----------
        other : Box

        Returns
        -------
        Box
            Of zero height or width where the two do not meet.
        """
        top, left = max(self.top, other.top), max(self.left, other.left)
        return Box(
            top,
            left,
            max(top, min(self.bottom, other.bottom)),
            max(left, min(self.right, other.right)),
        )

    def grown(self, margin: int, shape: tuple[int, int]) -> Box:
        """The box grown by `margin` pixels on every side, kept inside a frame of `shape`.

        Parameters
        ----------
        margin : int
            Pixels, 0 or more.
        shape : tuple of int
            Height and width of the frame in pixels.

        Returns
        -------
        Box
        """
        return Box(
            max(0, self.top - margin),
            max(0, self.left - margin),
            min(shape[0], self.bottom + margin),
            min(shape[1], self.right + margin),
        )

    def within(self, outer: Box) -> tuple[slice, slice]:
        """Slices that cut this box from an array that covers `outer`.

        Parameters
        ----------
        outer : Box
            What the array covers, in the same coordinates; it holds this box.

        Returns
        -------
        rows, columns : slice
        """
        return (
            slice(self.top - outer.top, self.bottom - outer.top),
            slice(self.left - outer.left, self.right - outer.left),
        )
