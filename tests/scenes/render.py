"""Path tracing with Mitsuba 3: the linear picture, and rays for the truth.

The only module that imports Mitsuba. `cuda_ad_rgb` is taken where a card for it is found,
else `llvm_ad_rgb`; set TRAYMORPH_SCENES_VARIANT to choose.
"""

from __future__ import annotations

import ctypes
import importlib.util
import os
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tests.scenes import lights, meshes
from tests.scenes.camera import Camera
from tests.scenes.tray import Card, Item

THROUGH_SHARE = 0.4  # weight of transmission in the leaf's mixture
GLOSS = 0.04  # mirror reflection at normal incidence of an ordinary surface
MAX_DEPTH = 9


def _start_mitsuba():
    import mitsuba  # noqa: PLC0415 (the variant has to be set before anything else)

    wanted = os.environ.get("TRAYMORPH_SCENES_VARIANT")
    for variant in [wanted] if wanted else ["cuda_ad_rgb", "llvm_ad_rgb"]:
        try:
            mitsuba.set_variant(variant)
            import drjit  # noqa: PLC0415

            if variant.startswith("cuda"):
                ctypes.CDLL("libnvoptix.so.1")
            drjit.eval(mitsuba.Float([1.0]) + 1)
        except Exception:  # noqa: BLE001, S112 (a missing driver raises what it likes)
            continue
        return mitsuba
    message = "no Mitsuba variant runs here: install LLVM 16 or later, or a CUDA driver"
    raise RuntimeError(message)


mi = _start_mitsuba()
import drjit as dr  # noqa: E402

ON_GPU = mi.variant().startswith("cuda")
RAYS_AT_ONCE = 12_000_000 if ON_GPU else 3_000_000


@dataclass
class Hits:
    """What rays met: class, plant and blade of the first triangle, and the place (n, 3) in mm."""

    part: NDArray
    plant: NDArray
    blade: NDArray
    point: NDArray


class Scene:
    """Items and light, ready for rays."""

    def __init__(self, items: list[Item], light: dict | None = None) -> None:
        shapes, entries = [], {"type": "scene"}
        for item in items:
            shapes.append(_shape(item))
            entries[item.name] = shapes[-1]
        entries.update(
            _emitters(light or {"kind": "overcast", "kelvin": 6500, "fill": 1, "seed": 0})
        )
        self._scene = mi.load_dict(entries)
        self._integrator = mi.load_dict({"type": "path", "max_depth": MAX_DEPTH, "rr_depth": 5})
        self._index(items, shapes)
        # Textures of reflectance without the weights of the leaf's mixture.
        self._leaf_textures = [
            (mi.ShapePtr(shape), mi.load_dict(_bitmap(item.texture)))
            for item, shape in zip(items, shapes, strict=True)
            if item.surface == "leaf"
        ]

    def _index(self, items: list[Item], shapes: list) -> None:
        """Tables from the renderer's shape and triangle to our classes and numbers."""
        starts = np.cumsum([1] + [len(i.mesh.faces) for i in items])
        ids = [int(dr.reinterpret_array(mi.UInt32, mi.ShapePtr(s))[0]) for s in shapes]
        offsets = np.full(max(ids) + 4096, -1, np.int64)
        offsets[ids] = starts[:-1]
        self._offset = mi.Int32(offsets.astype(np.int32))

        def table(name: str, none: int) -> NDArray:
            return np.concatenate([[none], *(getattr(i.mesh, name) for i in items)])

        self._part = mi.UInt32(table("part", meshes.OTHER).astype(np.uint32))
        self._plant = mi.Int32(table("plant", -1).astype(np.int32))
        self._blade = mi.Int32(table("blade", -1).astype(np.int32))

    def _identify(self, ray):
        hit = self._scene.ray_intersect_preliminary(ray)
        valid = hit.is_valid()
        shape = dr.reinterpret_array(mi.UInt32, hit.shape)
        offset = dr.gather(mi.Int32, self._offset, shape, valid)
        known = valid & (offset >= 0)
        return hit, known, dr.select(known, mi.UInt32(offset) + hit.prim_index, 0)

    def cast(self, origins: NDArray, directions: NDArray) -> Hits:
        """First hits of rays (n, 3) that start at `origins` (n, 3) or (3,)."""
        n = len(directions)
        origins = np.broadcast_to(origins, (n, 3))
        parts = []
        for start in range(0, n, RAYS_AT_ONCE):
            some = slice(start, start + RAYS_AT_ONCE)
            o = mi.Point3f(np.ascontiguousarray(origins[some].T, np.float32))
            d = mi.Vector3f(np.ascontiguousarray(directions[some].T, np.float32))
            hit, known, index = self._identify(mi.Ray3f(o, d))
            place = o + hit.t * d
            found = (
                dr.gather(mi.UInt32, self._part, index),
                dr.gather(mi.Int32, self._plant, index),
                dr.gather(mi.Int32, self._blade, index),
            )
            dr.eval(found, place)
            point = np.array(place).reshape(3, -1).T
            parts.append(
                (*(np.array(f) for f in found), np.where(np.array(known)[:, None], point, np.nan))
            )
        return Hits(*(np.concatenate(p) for p in zip(*parts, strict=True)))

    def masks(self, camera: Camera, sub: int = 2) -> tuple[NDArray, NDArray]:
        """Class of every part of every pixel, and the blades that are seen.

        Returns
        -------
        classes : uint8 (height, width, sub * sub)
        blades : int (k,) numbers of the blades seen
        """
        width, height = camera.width, camera.height
        camera = _on_device(camera)
        classes = np.empty((height * width, sub * sub), np.uint8)
        seen = []
        rows = max(1, RAYS_AT_ONCE // width)
        for k in range(sub * sub):
            dy, dx = ((np.array(divmod(k, sub)) + 0.5) / sub) - 0.5
            for first in range(0, height, rows):
                last = min(height, first + rows)
                count = (last - first) * width
                index = dr.arange(mi.UInt32, count) + dr.opaque(mi.UInt32, first * width)
                u = mi.Float(index % width) + dr.opaque(mi.Float, float(dx))
                v = mi.Float(index // width) + dr.opaque(mi.Float, float(dy))
                _, _, found = self._identify(_pinhole_rays(camera, u, v))
                part = dr.gather(mi.UInt32, self._part, found)
                blade = dr.gather(mi.Int32, self._blade, found)
                dr.eval(part, blade)
                classes[first * width : last * width, k] = np.array(part)
                mine = np.array(part) == meshes.LEAF
                seen.append(np.unique(np.array(blade)[mine]))
        return classes.reshape(height, width, sub * sub), np.unique(np.concatenate(seen))

    def plants(self, camera: Camera, sub: int = 2) -> NDArray:
        """Plant number (-1 for none) of every part of every pixel, int16 as `masks` has them."""
        width, height = camera.width, camera.height
        camera = _on_device(camera)
        plants = np.empty((height * width, sub * sub), np.int16)
        rows = max(1, RAYS_AT_ONCE // width)
        for k in range(sub * sub):
            dy, dx = ((np.array(divmod(k, sub)) + 0.5) / sub) - 0.5
            for first in range(0, height, rows):
                last = min(height, first + rows)
                index = dr.arange(mi.UInt32, (last - first) * width)
                index += dr.opaque(mi.UInt32, first * width)
                u = mi.Float(index % width) + dr.opaque(mi.Float, float(dx))
                v = mi.Float(index // width) + dr.opaque(mi.Float, float(dy))
                _, _, found = self._identify(_pinhole_rays(camera, u, v))
                plants[first * width : last * width, k] = np.array(
                    dr.gather(mi.Int32, self._plant, found)
                )
        return plants.reshape(height, width, sub * sub)

    def picture(self, camera: Camera, samples: int, seed: int) -> tuple[NDArray, NDArray]:
        """Radiance and first-hit reflectance, both (height, width, 3) linear."""
        width, height = camera.width, camera.height
        camera = _on_device(camera)
        light = np.zeros((height * width, 3), np.float32)
        surface = np.zeros_like(light)
        rows = max(1, min(height, RAYS_AT_ONCE // width))
        sampler = mi.load_dict({"type": "independent"})
        for first in range(0, height, rows):
            last = min(height, first + rows)
            count = (last - first) * width
            index = dr.arange(mi.UInt32, count) + dr.opaque(mi.UInt32, first * width)
            total, total_surface = dr.zeros(mi.Color3f, count), dr.zeros(mi.Color3f, count)
            for k in range(samples):
                sampler.seed(_mixed(seed, k, first), count)
                u = mi.Float(index % width) + sampler.next_1d() - 0.5
                v = mi.Float(index // width) + sampler.next_1d() - 0.5
                ray = _lens_rays(camera, u, v, sampler.next_2d())
                radiance, reflectance = self._shade(ray, sampler)
                total += radiance
                total_surface += reflectance
                dr.eval(total, total_surface)
            some = slice(first * width, last * width)
            light[some], surface[some] = _rows(total), _rows(total_surface)
        shape = (height, width, 3)
        return (light / samples).reshape(shape), (surface / samples).reshape(shape)

    def _shade(self, ray, sampler) -> tuple[NDArray, NDArray]:
        touch = self._scene.ray_intersect(ray)
        bsdf = touch.bsdf()
        reflectance = dr.select(touch.is_valid(), bsdf.eval_diffuse_reflectance(touch), 0.0)
        for shape, texture in self._leaf_textures:
            mine = touch.shape == shape
            reflectance = dr.select(mine, texture.eval(touch, mine), reflectance)
        radiance, _, _ = self._integrator.sample(self._scene, sampler, ray)
        return radiance, reflectance

    def white(self, card: Card, rays: int = 200_000, seed: int = 5) -> NDArray:
        """Radiance (3,) of a perfect white diffuser in the card's place and light.

        The card is a diffuser, so its radiance is its reflectance times the same factor
        everywhere on an evenly lit card; the ratio of the two means gives that factor.
        """
        rng = np.random.default_rng(seed)
        share = rng.uniform(0.03, 0.97, (rays, 2))
        right, down = card.corners[1] - card.corners[0], card.corners[3] - card.corners[0]
        on_card = card.corners[0] + share[:, :1] * right + share[:, 1:] * down
        # From close by, so that no leaf comes between.
        origin = (on_card + 3.0 * card.normal).T.astype(np.float32)
        towards = np.broadcast_to(-card.normal[:, None], origin.shape).astype(np.float32)
        sampler = mi.load_dict({"type": "independent"})
        sampler.seed(seed, rays)
        ray = mi.RayDifferential3f(mi.Point3f(origin), mi.Vector3f(np.ascontiguousarray(towards)))
        radiance, reflectance = self._shade(ray, sampler)
        dr.eval(radiance, reflectance)
        return _rows(radiance).mean(0) / _rows(reflectance).mean(0)


def denoise(light: NDArray, surface: NDArray) -> NDArray:
    """Denoise a linear picture with Open Image Denoise; without it the picture stays as it is.

    The denoiser of the GPU's own driver is not used: where its weights are missing it ends the
    whole process.
    """
    found = importlib.util.find_spec("oidn")
    if found is None or found.origin is None:
        return light
    # The wheel brings its thread library, but under a name that the loader does not look for.
    for library in Path(found.origin).parent.glob("lib.linux.x64/libtbb.so*"):
        ctypes.CDLL(str(library), mode=ctypes.RTLD_GLOBAL)
    import oidn  # noqa: PLC0415

    device = oidn.NewDevice()
    oidn.CommitDevice(device)
    job = oidn.NewFilter(device, "RT")
    light, surface = (np.ascontiguousarray(a, np.float32) for a in (light, surface))
    clean = np.zeros_like(light)
    height, width, _ = light.shape
    for name, image in (("color", light), ("albedo", surface), ("output", clean)):
        oidn.SetSharedFilterImage(job, name, image, oidn.FORMAT_FLOAT3, width, height)
    # The wheel does not wrap the switch for pictures brighter than 1.
    switch = vars(oidn)["__lib_oidn"].oidnSetFilter1b
    switch.argtypes, switch.restype = [ctypes.c_void_p, ctypes.c_char_p, ctypes.c_bool], None
    switch(job, b"hdr", True)  # noqa: FBT003 (the library's own signature)
    oidn.CommitFilter(job)
    oidn.ExecuteFilter(job)
    oidn.ReleaseFilter(job)
    oidn.ReleaseDevice(device)
    return clean


def _rows(values) -> NDArray:
    """Device values (3 components) as an array (n, 3)."""
    return np.array(values).reshape(3, -1).T


def _mixed(*numbers: int) -> int:
    return int(np.random.SeedSequence(numbers).generate_state(1)[0])


def _on_device(camera: Camera) -> Camera:
    """Give the camera's numbers as device values, so that one compiled kernel serves all."""

    def moved(value: float):
        return dr.opaque(mi.Float, float(value))

    return replace(
        camera,
        focal_px=moved(camera.focal_px),
        k1=moved(camera.k1),
        k2=moved(camera.k2),
        rotation=mi.Matrix3f(*[moved(v) for v in camera.rotation.T.ravel()]),
        position=mi.Point3f(*[moved(v) for v in camera.position]),
        focus_mm=moved(camera.focus_mm),
        aperture_mm=moved(camera.aperture_mm),
    )


def _pinhole_rays(camera: Camera, u, v):
    x, y = camera.undistort(u, v)
    return mi.Ray3f(camera.position, dr.normalize(camera.rotation @ mi.Vector3f(x, y, 1.0)))


def _lens_rays(camera: Camera, u, v, sample):
    x, y = camera.undistort(u, v)
    disk = mi.warp.square_to_uniform_disk_concentric(sample) * camera.aperture_mm
    at = camera.rotation @ mi.Vector3f(disk.x, disk.y, 0.0)
    sharp = camera.rotation @ (mi.Vector3f(x, y, 1.0) * camera.focus_mm)
    return mi.RayDifferential3f(camera.position + at, dr.normalize(sharp - at))


def _bitmap(image: NDArray) -> dict:
    return {
        "type": "bitmap",
        "bitmap": mi.Bitmap(np.ascontiguousarray(image, np.float32)),
        "raw": True,
        "wrap_mode": "mirror",
    }


def _surface(item: Item) -> dict:
    """Material of an item."""
    if item.surface == "card":
        return {
            "type": "twosided",
            "bsdf": {"type": "diffuse", "reflectance": _bitmap(item.texture)},
        }
    if item.surface == "water":
        return {"type": "dielectric", "int_ior": 1.333, "ext_ior": 1.0}
    if item.surface == "leaf":
        return _leaf(item)
    if item.texture is not None:
        surface = _glossy(_bitmap(item.texture), GLOSS * item.gloss, item.roughness)
    else:
        # Colours at the vertices have no mean, which the layered model above asks for.
        surface = {
            "type": "principled",
            "base_color": {"type": "mesh_attribute", "name": "vertex_color"},
            "roughness": item.roughness**0.5,
            "specular": min(0.5 * item.gloss, 1.0),
        }
    return {"type": "twosided", "bsdf": surface}


def _glossy(colour: dict, mirror: float, roughness: float) -> dict:
    """Diffuse base under a rough clear surface that mirrors `mirror` at normal incidence."""
    if mirror <= 0:
        return {"type": "diffuse", "reflectance": colour}
    root = min(mirror, 0.2) ** 0.5
    return {
        "type": "roughplastic",
        "distribution": "ggx",
        "diffuse_reflectance": colour,
        "alpha": roughness,
        "int_ior": (1 + root) / (1 - root),
        "nonlinear": False,
    }


def _leaf(item: Item) -> dict:
    """Reflection with gloss, and diffuse transmission of a yellower shade."""
    assert item.texture is not None
    through = item.through * item.texture * np.array([1.15, 1.2, 0.7], np.float32)
    scale = np.minimum(1.0, (0.92 - item.texture) / np.maximum(through, 1e-4))
    through = through * np.clip(scale, 0.1, 1.0)
    reflected = {
        "type": "twosided",
        "bsdf": _glossy(
            _bitmap(np.minimum(item.texture / (1 - THROUGH_SHARE), 0.98)),
            GLOSS * item.gloss / (1 - THROUGH_SHARE),
            item.roughness,
        ),
    }
    passed = {
        "type": "principledthin",
        "base_color": _bitmap(np.minimum(through / THROUGH_SHARE, 0.98)),
        "diff_trans": 2.0,
        "roughness": 0.6,
        "spec_trans": 0.0,
    }
    return {"type": "blendbsdf", "weight": THROUGH_SHARE, "reflected": reflected, "passed": passed}


def _shape(item: Item):
    mesh = item.mesh
    properties = mi.Properties()
    properties["bsdf"] = mi.load_dict(_surface(item))
    flat = (
        item.name.startswith(("tray", "bench", "backdrop", "card", "upturned"))
        or "_tray" in item.name
    )
    shape = mi.Mesh(
        item.name, len(mesh.vertices), len(mesh.faces), props=properties,
        has_vertex_normals=not flat, has_vertex_texcoords=True,
    )  # fmt: skip
    if item.texture is None:
        shape.add_attribute(
            "vertex_color", 3, np.ascontiguousarray(mesh.colour.ravel(), np.float32)
        )
    values = mi.traverse(shape)
    values["vertex_positions"] = mi.Float(mesh.vertices.ravel())
    values["vertex_texcoords"] = mi.Float(mesh.uv.ravel())
    values["faces"] = mi.UInt32(mesh.faces.ravel())
    values.update()
    return shape


def _emitters(light: dict) -> dict:
    entries = {}
    for name, entry in lights.emitters(light).items():
        if isinstance(entry, np.ndarray):
            entries[name] = {
                "type": "envmap",
                "bitmap": mi.Bitmap(entry),
                # The map's pole points to y; ours to z.
                "to_world": mi.ScalarTransform4f().rotate([1, 0, 0], 90),
            }
        elif "to_world" in entry:
            entries[name] = {**entry, "to_world": mi.ScalarTransform4f(entry["to_world"].tolist())}
        else:
            entries[name] = entry
    return entries
