"""How a command ends: every way it can fail becomes one sentence a line, an exit code, and with --json one document."""

from __future__ import annotations

import os
import signal
import sys
from typing import Any

import click

from waveflow.errors import CaseError, RunError
from waveflow.show.terminal import say

DONE, FAILED, BAD_INPUT, PARTIAL, INTERRUPTED = 0, 1, 2, 3, 130
DEBUG = "WAVEFLOW_DEBUG"


class Refused(click.UsageError):
    """Something the user gave cannot be used; one sentence [str]."""


def ending_of(error: BaseException, as_json: bool, resume: str) -> int:
    """Say what `error` [BaseException] means and return its exit code.

    `as_json` [bool]: say it as one JSON document on standard output as well. `resume` [str]: command line that goes on
    with an interrupted run.
    """
    if isinstance(error, click.Abort) and error.__cause__ is not None:
        error = error.__cause__  # click wraps an interruption; what is kept hangs on the original
    if isinstance(error, SystemExit):
        return error.code if isinstance(error.code, int) else FAILED
    if isinstance(error, BrokenPipeError):
        # Whoever read our output has left; writing the rest must not fail once more at exit.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return FAILED
    code, sentences, data = _meaning(error, resume)
    if as_json:
        _write_json(code, sentences, data)
    try:
        for sentence in sentences:
            say(sentence)
    except OSError:
        pass
    if os.environ.get(DEBUG) and code not in (BAD_INPUT, INTERRUPTED):
        import traceback

        traceback.print_exception(error)
    return code


def _meaning(error: BaseException, resume: str) -> tuple[int, list[str], dict[str, Any]]:
    """Exit code, sentences and data of an error."""
    if isinstance(error, KeyboardInterrupt | click.Abort):
        return INTERRUPTED, _stopped(error, resume), {"kind": "interrupted", "resume": _resumable(error, resume)}
    if isinstance(error, CaseError):
        count = len(error.problems)
        tail = f"{count} {'mistake' if count == 1 else 'mistakes'}; nothing was run."
        return BAD_INPUT, [*(str(problem) for problem in error.problems), tail], {"kind": "case", **error.as_json()}
    if isinstance(error, RunError):
        return FAILED, [f"The run failed: {error}"], {"kind": "run", **error.as_json()}
    if isinstance(error, click.ClickException):
        text = error.format_message()
        usage = isinstance(error, click.UsageError) and not isinstance(error, Refused) and error.ctx is not None
        more = [f"Help: {error.ctx.command_path} --help"] if usage else []
        return BAD_INPUT, [text, *more], {"kind": "usage", "message": text}
    if _is(error, "waveflow.study.writing", "StoreError") or isinstance(error, OSError):
        text = _disk_words(error)
        return FAILED, [text], {"kind": "files", "message": text}
    if _is(error, "waveflow.study.speeds", "SpeedsError") or _is(error, "waveflow.units", "UnitError"):
        return BAD_INPUT, [str(error)], {"kind": "speeds", "message": str(error)}
    if _is(error, "waveflow.study.cluster", "ClusterError"):
        kept = ["Finished points are kept where a folder was named: --resume goes on from them."] if error.begun else []
        return FAILED if error.begun else BAD_INPUT, [str(error), *kept], {"kind": "cluster", "message": str(error)}
    if isinstance(error, MemoryError):
        text = "Not enough memory; fewer speeds at once (--workers 1) or larger cells need less."
        return FAILED, [text], {"kind": "memory", "message": text}
    text = f"A mistake in the program: {type(error).__name__}: {error}"
    hint = f"With {DEBUG}=1 set, the place in the program is shown too."
    return FAILED, [text, hint], {"kind": "program", "message": text}


def _is(error: BaseException, module: str, name: str) -> bool:
    """Whether an error is of a class in a module, which is not imported for the question."""
    kind = getattr(sys.modules.get(module), name, None)
    return kind is not None and isinstance(error, kind)


def _disk_words(error: BaseException) -> str:
    if isinstance(error, OSError):
        from waveflow.study.writing import plain_reason

        place = f"{error.filename}: " if error.filename else "Standard output: "
        return f"{place}{plain_reason(error)}"
    return str(error)


def _resumable(error: BaseException, resume: str) -> str | None:
    return resume if getattr(error, "journal", None) else None


def _stopped(error: BaseException, resume: str) -> list[str]:
    """What is kept of an interrupted run, and how to go on."""
    partial = getattr(error, "partial", None)
    if partial is None:
        return ["Stopped; nothing was kept."]
    kept = [f"Stopped: {len(partial)} of {error.total} speeds of {partial.label} are finished and kept."]
    return [*kept, f"Go on with: {resume}"] if _resumable(error, resume) else kept


def _write_json(code: int, sentences: list[str], data: dict[str, Any]) -> None:
    import json

    document = {"format": 1, "ok": False, "exit_code": code, "sentences": sentences, "error": data}
    try:
        sys.stdout.write(json.dumps(document, indent=1, default=str) + "\n")
        sys.stdout.flush()
    except OSError:
        pass


def hear_terminate() -> None:
    """Let a request to terminate (SIGTERM) end a run as Ctrl-C does: finished points kept, resume command shown."""
    signal.signal(signal.SIGTERM, _interrupt)


def _interrupt(number: int, frame: Any) -> None:
    raise KeyboardInterrupt


def leave(code: int, at_once: bool = False) -> None:
    """End the process with an exit `code` [int]; `at_once` without waiting for threads that still compute."""
    for stream in (sys.stdout, sys.stderr):
        try:
            stream.flush()
        except (OSError, ValueError):
            if code == DONE:
                code = FAILED
    if at_once:
        os._exit(code)
    sys.exit(code)
