"""The one decorator for compiled kernels, and the folder their machine code is kept in.

Only this module imports numba. The cache folder's name is a digest of every kernel source file and of the versions of
Python and numba: a change in any kernel gives a new folder, so stale machine code can never be loaded (numba's own
check looks at the file of the outermost function only). Only the newest few folders are kept.

Division by zero gives inf or NaN as in numpy (``error_model="numpy"``: the largest single speed switch); fast-math is
off, so NaNs stay detectable and results repeat bit for bit.
"""

from __future__ import annotations

import gc
import hashlib
import os
import platform
import shutil
import tempfile
import threading
from pathlib import Path
from typing import Any

import llvmlite.binding
import numba
import platformdirs
from llvmlite import ir
from numba.core import cpu, event, options, types
from numba.extending import intrinsic

_KEPT_FOLDERS = 4

# A pass over the cells reads and writes up to forty rows; the compiler proves at run time that they do not overlap, but
# gives up on vector code above 128 such comparisons unless told that they are worth it (measured: twice the speed).
llvmlite.binding.set_option("", "--vectorize-memory-check-threshold=5000")


# The compiler makes millions of objects that live as long as its work lasts; looking through them for garbage every few
# hundred took an eighth of the first compilation. Looking seldom costs it 25 MB.
_SELDOM = (20_000, 20, 100)


class _SeldomGarbage(event.Listener):
    """Python's garbage collector looks seldom while a kernel is compiled."""

    def __init__(self) -> None:
        self._at_work, self._usual, self._lock = 0, gc.get_threshold(), threading.Lock()

    def on_start(self, event: event.Event) -> None:
        with self._lock:
            if self._at_work == 0:
                self._usual = gc.get_threshold()
                gc.set_threshold(*_SELDOM)
            self._at_work += 1

    def on_end(self, event: event.Event) -> None:
        with self._lock:
            self._at_work -= 1
            if self._at_work == 0:
                gc.set_threshold(*self._usual)


event.register("numba:compile", _SeldomGarbage())


def source_digest() -> str:
    """Digest (12 hex digits) of all kernel sources and of the compiler's version."""
    digest = hashlib.sha256(f"{numba.__version__} {platform.python_version()}".encode())
    for path in [Path(__file__), *sorted((Path(__file__).parent / "physics").glob("*.py"))]:
        digest.update(path.name.encode())
        digest.update(path.read_bytes())
    return digest.hexdigest()[:12]


def cache_root() -> Path:
    """Folder for everything that can be made again; WAVEFLOW_CACHE overrides the user's cache directory."""
    return Path(os.environ.get("WAVEFLOW_CACHE") or platformdirs.user_cache_dir("waveflow"))


def _kernel_folder() -> Path:
    """Make (or find) the folder for this version of the kernels; fall back to a temporary one if it cannot be written."""
    name = f"kernels-{source_digest()}"
    for root in (cache_root(), Path(tempfile.gettempdir()) / f"waveflow-{os.getuid() if hasattr(os, 'getuid') else 0}"):
        folder = root / name
        try:
            folder.mkdir(parents=True, exist_ok=True)
            probe = folder / f".writable-{os.getpid()}"
            probe.touch()
            probe.unlink()
            os.utime(folder)
        except OSError:
            continue
        _forget_old_folders(root)
        return folder
    return Path(tempfile.mkdtemp(prefix="waveflow-"))


def _forget_old_folders(root: Path) -> None:
    folders = sorted(root.glob("kernels-*"), key=lambda folder: folder.stat().st_mtime, reverse=True)
    for folder in folders[_KEPT_FOLDERS:]:
        shutil.rmtree(folder, ignore_errors=True)


CACHE_FOLDER = _kernel_folder()
numba.config.CACHE_DIR = str(CACHE_FOLDER)

_COMMON: dict[str, Any] = {"cache": True, "error_model": "numpy", "nogil": True, "_nrt": False, "no_cfunc_wrapper": True}

kernel = numba.njit(**_COMMON)
inner_kernel = numba.njit(**_COMMON, no_cpython_wrapper=True)
"""`kernel` for functions that only kernels call: the door from Python would take longer to compile than many of them."""

kernel_with_memory = numba.njit(**{**_COMMON, "_nrt": True})
"""`kernel` for functions that make arrays of their own."""

kernel_within = numba.njit(**_COMMON, forceinline=True)
"""`kernel` for functions that must dissolve in their caller's loop, lest the call keep the compiler from vector code."""


def _kernel_of_rows() -> Any:
    """`inner_kernel` for passes over cells whose array arguments never overlap, told to the compiler.

    It then need not prove at run time, for every call, that rows of different arguments are apart (below some 100 cells
    it gave up and ran one cell at a time). numba has the flag but no keyword for it; without it everything runs the same,
    only slower.
    """
    try:
        cpu.CPUTargetOptions.noalias = options.TargetOptions.Mapping("noalias")
        return numba.njit(**_COMMON, noalias=True, no_cpython_wrapper=True)
    except (AttributeError, KeyError):
        return inner_kernel


kernel_of_rows = _kernel_of_rows()


@intrinsic
def bits_of(typing_context, number):
    """The 64 bits of a double as an integer."""

    def code(context, builder, signature, arguments):
        return builder.bitcast(arguments[0], ir.IntType(64))

    return types.int64(types.float64), code


@intrinsic
def from_bits(typing_context, bits):
    """The double of 64 bits."""

    def code(context, builder, signature, arguments):
        return builder.bitcast(arguments[0], ir.DoubleType())

    return types.float64(types.int64), code


@intrinsic
def muladd(typing_context, a, b, c):
    """a b + c of doubles: rounded once where the processor has an instruction for that, else twice."""

    def code(context, builder, signature, arguments):
        number = ir.DoubleType()
        function = builder.module.declare_intrinsic("llvm.fmuladd", [number], ir.FunctionType(number, [number] * 3))
        return builder.call(function, arguments)

    return types.float64(types.float64, types.float64, types.float64), code


def is_cold() -> bool:
    """True while no machine code has been stored yet: the first run will have to compile."""
    return not any(CACHE_FOLDER.rglob("*.nbi"))
