"""What a scene is made of: meshes with their materials."""

from __future__ import annotations

from dataclasses import dataclass

from numpy.typing import NDArray

from tests.scenes import meshes


@dataclass
class Item:
    """A mesh and what it is made of.

    `surface` is "leaf", "coloured", "textured" or "plastic"; `texture` (h, w, 3) linear
    reflectance; `gloss` scales the mirror reflection; `roughness` of that reflection.
    """

    name: str
    mesh: meshes.Mesh
    surface: str
    texture: NDArray | None = None
    gloss: float = 1.0
    roughness: float = 0.3
    through: float = 0.0
