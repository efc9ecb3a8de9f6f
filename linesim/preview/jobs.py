"""Work of seconds: a whole scan or its report, one at a time, with progress and cancel."""

from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from secrets import token_urlsafe
from tempfile import TemporaryDirectory
from threading import Event
from typing import Any

from linesim.preview.desk import Desk, seed_of
from linesim.preview.references import Ready
from linesim.preview.variant import Variant
from linesim.preview.whole import StoppedError, whole_scan
from linesim.report.page import page_text, refuse_without_extra
from linesim.setup.errors import InputError, refuse
from linesim.studies.scan.outputs import write_scan
from linesim.studies.scan.page import scan_page
from linesim.studies.scan.study import Scan

_KINDS = ("scan", "report")
_LATER = "a scan is being made already; wait for it, or cancel it"
_GONE = "scan: it is not held here any more; start it again"


@dataclass(slots=True, eq=False, kw_only=True)
class _Job:
    """What is asked for, how far it is, and what came of it."""

    name: str
    stop: Event = field(default_factory=Event)
    done: int = 0
    total: int = 0
    body: bytes | None = None
    faults: tuple[str, ...] = ()
    over: bool = False


class Jobs:
    """Whole scans of one preview; the last result is held until the next one starts."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._hand = ThreadPoolExecutor(max_workers=1, thread_name_prefix="scan")
        self._jobs: dict[str, _Job] = {}

    def start(self, ask: Mapping[str, Any]) -> dict[str, Any]:
        """Begin; an ``InputError`` says why not."""
        kind = ask.get("kind")
        if kind not in _KINDS:
            refuse(f'kind: read {str(kind)[:40]}; expected "scan" or "report"')
        if any(not job.over for job in self._jobs.values()):
            raise InputError(_LATER)
        if kind == "report":
            refuse_without_extra()
        found, seed = self._desk.variant(ask), seed_of(ask)
        word = token_urlsafe(12)
        job = _Job(name="scan.tif" if kind == "scan" else "report.html")
        self._jobs = {word: job}
        self._hand.submit(self._run, job, lambda: self._made(job, found, seed))
        return {"job": word}

    def state(self, word: object) -> dict[str, Any]:
        """Tell how far it is."""
        job = self._job(word)
        return {
            "done": job.done,
            "total": job.total,
            "over": job.over,
            "cancelled": job.over and job.stop.is_set() and job.body is None,
            "ready": job.body is not None,
            "name": job.name,
            "faults": list(job.faults),
        }

    def cancel(self, word: object) -> dict[str, Any]:
        """Ask that it be stopped; the strip at hand is finished first."""
        self._job(word).stop.set()
        return self.state(word)

    def result(self, word: object) -> tuple[str, bytes]:
        """Give the file's name and content."""
        job = self._job(word)
        if job.body is None:
            raise InputError(_GONE)
        return job.name, job.body

    def close(self) -> None:
        """Stop what is under way."""
        for job in self._jobs.values():
            job.stop.set()
        self._hand.shutdown(wait=False, cancel_futures=True)

    def _job(self, word: object) -> _Job:
        job = self._jobs.get(word) if isinstance(word, str) else None
        if job is None:
            raise InputError(_GONE)
        return job

    @staticmethod
    def _run(job: _Job, work: Callable[[], bytes]) -> None:
        try:
            job.body = work()
        except StoppedError:
            pass
        except InputError as refusal:
            job.faults = refusal.faults
        except MemoryError:
            job.faults = ("scan: this needs more memory than the machine has",)
        except Exception:
            job.faults = ("scan: it failed for a reason of the program's own",)
            raise
        finally:
            job.over = True

    def _made(self, job: _Job, found: Variant, seed: int) -> bytes:
        def update(done: int, total: int) -> None:
            job.done, job.total = done, total

        ready = self._desk.references.own(found)
        scan = whole_scan(found, ready, seed, update, job.stop)
        return _tiff(scan) if job.name.endswith(".tif") else _report(scan, ready, job.stop)


def _tiff(scan: Scan) -> bytes:
    with TemporaryDirectory(prefix="linesim-") as folder:
        return write_scan(scan, Path(folder))[0].read_bytes()


def _report(scan: Scan, ready: Ready, stop: Event) -> bytes:
    text = page_text(scan_page(scan, ready.reference))
    if stop.is_set():
        raise StoppedError
    return text.encode()
