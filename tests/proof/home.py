"""A small home with known rows, and the comparison of the lake with them."""

import hashlib
import json
import os
import shutil
import subprocess
import tempfile
import time
from pathlib import Path

import pyarrow.parquet as parquet

PROGRAM = os.environ.get("STRIKEMILL", "strikemill")

PACK = """name = "proof-rows"
version = "1.0.0"
engine = "delimited"

[recognise]
contains = ["Row,Moment,Golfer,Tool,Pace"]

[schema]
fieldsMatch = "equal"
fields = ["Row", "Moment", "Golfer", "Tool", "Pace"]

[time]
parts = [{ field = "Moment" }]
format = "%Y-%m-%d %H:%M:%S"

[shot]
session = { field = "Row", required = true }
shot = { constant = "1" }
player = { field = "Golfer" }

[shot.club]
field = "Tool"
required = true

[shot.club.values]
Driver = { clubId = "driver", clubKind = "driver" }

[measures.ball_speed_mps]
field = "Pace"
unit = "m/s"
measured = true
required = true
"""
HEADER = "Row,Moment,Golfer,Tool,Pace\n"
JUNK = b"no export at all\n"


def export(rows):
    """The text of an export; `rows` are (identity, month, pace)."""
    lines = [f"{name},2026-{month:02}-05 15:03:{number % 60:02},Wren,Driver,{pace}\n"
             for number, (name, month, pace) in enumerate(rows)]
    return (HEADER + "".join(lines)).encode()


def some_rows(prefix, count, months=(1,), pace=60.0):
    return [(f"{prefix}-{number}", months[number % len(months)], pace) for number in range(count)]


class Comparison:
    """What the lake holds against what went in."""

    def __init__(self):
        self.lost, self.doubled, self.faults = 0, 0, []


class Site:
    """A home whose content is known. `fresh` brings back its first state: some rows in the lake, some files in the import folder."""

    def __init__(self, place=None, settings=None, bare=False, folder=None):
        # In memory where it can be: a killed process loses nothing that it wrote, and a disk would make the proof slow.
        base = place or ("/dev/shm" if os.path.isdir("/dev/shm") else tempfile.gettempdir())
        self.folder = folder or Path(tempfile.mkdtemp(prefix="strikemill-proof-", dir=base))
        self.home = self.folder / "home"
        self.kept = self.folder / "first-state"
        self.bay = self.home / "import" / "bay1"
        if bare and (self.home / "config").is_dir():
            return
        self._make(settings or {})
        if bare:
            return
        base_rows = some_rows("base", 6, months=(1, 2))
        self.offer(base_rows, "base.csv")
        self.imports()
        # A second reading of two of them, one of which also moves to another month; rows of two months; a twin; junk.
        corrected = [("base-0", 1, 61.5), ("base-1", 3, 61.5)] + some_rows("later", 4, months=(2, 3))
        self.offer(corrected, "k-correction.csv")
        self.offer(some_rows("new", 5, months=(1, 2)), "a-new.csv")
        self.write("z-twin.csv", export(some_rows("new", 5, months=(1, 2))))
        self.write("junk.bin", JUNK)
        shutil.copytree(self.home, self.kept, symlinks=True)

    @classmethod
    def kept_at(cls, folder):
        """An empty home in a folder that stays, or the one that was left there."""
        folder.mkdir(parents=True, exist_ok=True)
        return cls(bare=True, folder=folder)

    def _make(self, settings):
        self.required, self.accepted = {}, {}
        self.rows_offered = 0
        run("init", self.home)
        plugins = self.home / "plugins"
        for pack in (plugins / "formats").iterdir():
            if pack.is_dir() and pack.name != "plain-imperial":
                shutil.rmtree(pack)
        for job in (plugins / "jobs").iterdir():
            if job.is_dir():
                shutil.rmtree(job)
        own = plugins / "formats" / "proof-rows"
        own.mkdir()
        (own / "format.toml").write_text(PACK)
        (own / "sample.csv").write_bytes(export([("r", 1, 61.25)]))
        (own / "expected.csv").write_text("source_row,session,ball_speed_mps\n2,r,61.25\n")
        configuration = self.home / "config" / "strikemill.toml"
        text = configuration.read_text()
        # One import folder and quick looks; everything else as shipped.
        head, _, rest = text.partition("# One entry a folder")
        _, _, rest = rest.partition("[intake]")
        text = head + '[[import]]\nfolder = "import/bay1"\nbay = "1"\n\n[intake]' + rest
        quick = {"quiet_period_s": 0.3, "rescan_every_s": 0.5, "least_free_mib": 1} | settings
        lines = []
        for line in text.splitlines():
            key = line.split("=")[0].strip()
            lines.append(f"{key} = {quick.pop(key)}" if key in quick else line)
        assert not quick, f"the shipped configuration has no {list(quick)}"
        configuration.write_text("\n".join(lines) + "\n")
        self.bay.mkdir(parents=True, exist_ok=True)

    def write(self, name, content):
        (self.bay / name).write_bytes(content)

    def offer(self, rows, name):
        """Drops an export and notes what it must become."""
        content = export(rows)
        self.write(name, content)
        self.rows_offered += len(rows)
        self.accepted[hashlib.sha256(content).hexdigest()] = name
        for identity, month, pace in rows:
            self.required[identity] = (month, pace)

    def fresh(self):
        """The first state again, at the same place."""
        shutil.rmtree(self.home, ignore_errors=True)
        shutil.copytree(self.kept, self.home, symlinks=True)

    def imports(self, prefix=(), **options):
        """Imports whatever the import folder holds; answers the finished process."""
        return run("import", self.home, str(self.bay), prefix=prefix, **options)

    def finish(self):
        """Starts the program again, plain: the command first, since it is quick, and a daemon for what the command leaves in its import
        folder (a file that was refused before is its owner's to take away when a person names it)."""
        self.imports()
        if any(self.bay.iterdir()):
            with Daemon(self.home) as daemon:
                daemon.until(lambda: not any(self.bay.iterdir()), limit=30)
                daemon.stop()

    def doubled_now(self):
        """Identities that a reader of the lake sees more than once at this moment, and unreadable partitions."""
        seen, faults = {}, []
        for path in sorted((self.home / "lake" / "shots").rglob("*.parquet")):
            try:
                table = parquet.ParquetFile(path).read(columns=["session_id"])
            except Exception as error:  # whatever it is, a reader could not read
                faults.append(f"{path.name} of {path.parent.name} cannot be read: {error}")
                continue
            for identity in table.column("session_id").to_pylist():
                seen[identity] = seen.get(identity, 0) + 1
        return [identity for identity, times in seen.items() if times > 1], faults

    def compare(self):
        """The lake, the archive, the quarantine and the manifest against what went in."""
        result = Comparison()
        seen = {}
        for path in sorted((self.home / "lake" / "shots").rglob("*.parquet")):
            table = parquet.ParquetFile(path).read(columns=["session_id", "ball_speed_mps", "local_date"])
            for row in table.to_pylist():
                seen.setdefault(row["session_id"], []).append((row["local_date"].month, row["ball_speed_mps"]))
        for identity, expected in self.required.items():
            found = seen.pop(identity, [])
            if not found:
                result.lost += 1
                result.faults.append(f"{identity} is lost")
            elif len(found) > 1:
                result.doubled += len(found) - 1
                result.faults.append(f"{identity} stands {len(found)} times in the lake")
            elif found[0] != expected:
                result.faults.append(f"{identity} is {found[0]}, not {expected}")
        result.faults += [f"unknown row {identity}" for identity in seen]

        imported = []
        for path in (self.home / "lake" / "imports").rglob("*.parquet"):
            imported += parquet.ParquetFile(path).read(columns=["source_file_id"]).column(0).to_pylist()
        if sorted(imported) != sorted(self.accepted):
            result.faults.append(f"imports lists {len(imported)} files, not the {len(self.accepted)} accepted ones")
        archived = hashes(self.home / "archive")
        result.faults += [f"{name} is not in the archive" for digest, name in self.accepted.items() if digest not in archived]
        refused = [path for path in (self.home / "quarantine").rglob("*") if path.is_file()]
        if hashlib.sha256(JUNK).hexdigest() not in hashes(self.home / "quarantine"):
            result.faults.append("the junk is not in quarantine")
        reasons = [path for path in refused if path.name.endswith(".reason.json")]
        if not any(json.loads(path.read_text())["reason"] for path in reasons):
            result.faults.append("no reason stands beside the junk")
        left = [path.name for path in self.bay.rglob("*") if path.is_file()]
        if left:
            result.faults.append(f"still in the import folder: {left}")
        staged = [path.name for path in (self.home / "state" / "staging").rglob("*.parquet")]
        if staged:
            result.faults.append(f"still in staging: {staged}")
        result.faults += self._manifest_faults()
        return result

    def _manifest_faults(self):
        faults = []
        for path in (self.home / "lake").rglob("manifest.json"):
            for entry in json.loads(path.read_text())["files"]:
                file = self.home / "lake" / entry["path"]
                if not file.is_file():
                    faults.append(f"the manifest names {entry['path']}, which is not there")
                elif hashlib.sha256(file.read_bytes()).hexdigest() != entry["sha256"]:
                    faults.append(f"{entry['path']} has not the hash that the manifest says")
        return faults

    def remove(self):
        shutil.rmtree(self.folder, ignore_errors=True)


def hashes(folder):
    return {hashlib.sha256(path.read_bytes()).hexdigest() for path in folder.rglob("*") if path.is_file()}


def run(command, home, *arguments, prefix=(), limit=120, env=None):
    """Runs a command of the program to its end."""
    line = [*prefix, PROGRAM, command, "--home", str(home), *arguments]
    return subprocess.run(line, capture_output=True, text=True, timeout=limit, env={**os.environ, **(env or {})}, check=False)


class Daemon:
    """A running daemon; killed when the block ends, unless it ended by itself."""

    def __init__(self, home, prefix=(), env=None):
        self.home = home
        self.log = open(home.parent / "daemon.log", "a+", encoding="utf-8")
        self.start = self.log.tell()
        line = [*prefix, PROGRAM, "run", "--home", str(home)]
        self.process = subprocess.Popen(line, stdin=subprocess.DEVNULL, stdout=self.log, stderr=self.log,
                                        env={**os.environ, **(env or {})})

    def __enter__(self):
        return self

    def __exit__(self, *_):
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait()
        self.log.close()

    def said(self):
        """What this daemon has logged."""
        self.log.flush()
        text = (self.home.parent / "daemon.log").read_text(encoding="utf-8", errors="replace")
        return text[self.start:]

    def stop(self, limit=60):
        """A graceful stop; answers the exit code."""
        self.process.terminate()
        return self.process.wait(timeout=limit)

    def until(self, holds, limit=60):
        """Waits until something holds; False when it does not in time, or the daemon ended."""
        end = time.monotonic() + limit
        while time.monotonic() < end:
            if holds():
                return True
            if self.process.poll() is not None:
                return holds()
            time.sleep(0.1)
        return False
