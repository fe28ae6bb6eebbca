"""`manage.py demo` as a person runs it: a process of its own, on a free port, with a data folder of its own."""

from __future__ import annotations

import os
import re
import signal
import socket
import subprocess
import sys
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import psutil

from deploy.management.commands.demo import KEPT, remove_data
from tests.support.product import ROOT
from tests.support.programs import Process, free_port, running, wait_until


def environment(folder: Path) -> dict[str, str]:
    """What a person's shell holds: nothing of this test run."""
    strange = ("DATABASE_URL", "REDIS_URL", "DJANGO_SETTINGS_MODULE", "PYTEST_CURRENT_TEST")
    plain = {name: value for name, value in os.environ.items() if name not in strange and "TRACKER" not in name}
    return {**plain, "TRACKER_DATA_DIR": str(folder)}


@contextmanager
def demo(folder: Path, port: int, *options: str) -> Iterator[tuple[Process, Path]]:
    said = folder.with_name("said")
    said.unlink(missing_ok=True)
    command = [sys.executable, "manage.py", "demo", "--port", str(port), *options]
    with running(command, said, env=environment(folder), cwd=ROOT) as process:
        wait_until(lambda: "ready" in said.read_text() or process.poll() is not None, what=f"the demo, see {said}")
        assert "ready" in said.read_text(), said.read_text()
        yield process, said


def page(port: int) -> str:
    with urllib.request.urlopen(f"http://127.0.0.1:{port}/", timeout=20) as answer:
        return answer.read().decode()


def test_the_demo_heals_survives_a_power_cut_keeps_its_data_and_starts_over_when_asked(tmp_path):
    folder, port = tmp_path / "data", free_port()
    with demo(folder, port) as (process, said):
        assert len(re.findall(r"\((manager|field engineer|client)\)", said.read_text())) == 3
        assert 'type="password"' in page(port)
        web, worker = psutil.Process(process.pid).children()
        os.killpg(web.pid, signal.SIGKILL)
        worker.kill()
        wait_until(lambda: said.read_text().count("started again") == 2, what="both to be started again")
        wait_until(lambda: len(psutil.Process(process.pid).children(recursive=True)) >= 4, what="all processes")
        wait_until(lambda: _answers(port), what="the page after the web server was killed")
        process.kill()  # a power cut
        process.wait()
    (folder / "files").mkdir(exist_ok=True)
    (folder / "files" / "photo").write_text("kept")
    (folder / "broker" / "1_x.celery.msg").write_text('{"half a mess')
    wait_until(lambda: not _answers(port), what="the children to end with their parent")
    with demo(folder, port) as (process, said):
        assert (folder / "files" / "photo").exists()
        family = psutil.Process(process.pid).children(recursive=True)
        process.send_signal(signal.SIGINT)
        assert process.wait(30) == 0
        assert "The data is kept" in said.read_text()
    wait_until(lambda: not any(one.is_running() for one in [*family, web, worker]), what="every process to end")
    with demo(folder, port, "--fresh"):
        assert not (folder / "files" / "photo").exists()


def test_a_port_in_use_is_refused_with_the_way_out(tmp_path):
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        command = [sys.executable, "manage.py", "demo", "--port", str(port)]
        done = subprocess.run(command, env=environment(tmp_path), cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 1
    assert f"Port {port} cannot be used" in done.stderr
    assert "--port" in done.stderr
    assert "Traceback" not in done.stderr


def test_fresh_removes_the_products_own_files_and_nothing_else(tmp_path):
    (tmp_path / "letters").mkdir()
    (tmp_path / "letters" / "one").write_text("not ours")
    (tmp_path / "files").mkdir()
    (tmp_path / "tracker.sqlite3").write_text("ours")
    remove_data(tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["letters"]
    assert "secret_key" not in KEPT


def _answers(port: int) -> bool:
    try:
        return bool(page(port))
    except OSError:
        return False
