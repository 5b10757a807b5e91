"""Serving for real: in a process of its own, on a port that the machine gives."""

import os
import re
import signal
import socket
import stat
import subprocess
import sys
import threading
import time
import urllib.error
import urllib.request
from http.cookiejar import CookieJar

import numpy as np
import pytest
import zxingcpp
from django.conf import settings

from refit.carry import serving


class Running:
    """A `manage.py serve` that runs, and what it has said so far."""

    def __init__(self, folder, *arguments):
        environment = {**os.environ, "REFIT_DATA": str(folder), "PYTHONUNBUFFERED": "1"}
        environment.pop("DATABASE_URL", None)
        command = [sys.executable, "manage.py", "serve", "--host", "127.0.0.1", *arguments]
        self.process = subprocess.Popen(
            command,
            cwd=settings.BASE_DIR,
            env=environment,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )
        self.said = ""
        self.reader = threading.Thread(target=self._read, daemon=True)
        self.reader.start()

    def _read(self):
        for line in self.process.stdout:
            self.said += line

    def wait_for(self, words, seconds=180):
        end = time.monotonic() + seconds
        while words not in self.said:
            assert time.monotonic() < end, f"never said {words!r}: {self.said}"
            assert self.process.poll() is None, self.said
            time.sleep(0.1)

    def stop(self, number=signal.SIGTERM):
        self.process.send_signal(number)
        code = self.process.wait(timeout=60)
        self.reader.join(timeout=10)
        self.process.stdout.close()
        return code


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("serve")


@pytest.fixture(scope="module")
def running(folder):
    program = Running(folder, "--port", "0")
    program.wait_for("Ctrl-C stops it.")
    yield program
    if program.process.poll() is None:
        program.stop(signal.SIGKILL)


def address(running):
    return re.search(r"http://127\.0\.0\.1:\d+", running.said)[0]


def browser():
    return urllib.request.build_opener(urllib.request.HTTPCookieProcessor(CookieJar()))


def fetch(opener, url, data=None):
    """Return the status, where it ended, the headers and the text."""
    try:
        with opener.open(url, data=data, timeout=60) as answer:
            return answer.status, answer.url, answer.headers, answer.read().decode()
    except urllib.error.HTTPError as refused:
        with refused:
            return refused.code, url, refused.headers, refused.read().decode()


def test_it_answers_that_it_is_alive(running):
    status, _, headers, text = fetch(browser(), address(running) + "/healthz")
    assert (status, text) == (200, "ok")
    assert "Set-Cookie" not in headers


def test_it_serves_its_own_style_sheet(running):
    status, _, headers, text = fetch(browser(), address(running) + "/static/refit/refit.css")
    assert status == 200
    assert headers["Content-Type"].startswith("text/css")
    assert len(text) > 1000


def test_a_strange_host_name_is_refused(running):
    asked = urllib.request.Request(address(running) + "/healthz", headers={"Host": "boat.example.com"})
    status, *_ = fetch(browser(), asked)
    assert status == 400


def test_a_taken_port_is_said_in_one_sentence(running, folder):
    port = address(running).rpartition(":")[2]
    command = [sys.executable, "manage.py", "serve", "--host", "127.0.0.1", "--port", port]
    environment = {**os.environ, "REFIT_DATA": str(folder)}
    environment.pop("DATABASE_URL", None)
    done = subprocess.run(
        command, cwd=settings.BASE_DIR, env=environment, capture_output=True, text=True, timeout=180
    )
    assert done.returncode == 1
    assert done.stderr.strip().splitlines() == [
        f"CommandError: Port {port} is taken by another program; stop that one, or choose another: "
        f"--port {int(port) + 1}."
    ]


def test_the_one_time_address_makes_the_owner_once(running, folder):
    once = re.search(r"http://\S+/accounts/first/\S+/", running.said)[0]
    token = folder / "first_token"
    assert stat.S_IMODE(token.stat().st_mode) == 0o600
    assert token.read_text() in once
    assert fetch(browser(), once[:-2] + "x/")[0] == 404
    mine = browser()
    status, _, _, page = fetch(mine, once)
    assert status == 200
    csrf = re.search(r'name="csrfmiddlewaretoken" value="([^"]+)"', page)[1]
    sent = f"csrfmiddlewaretoken={csrf}&name=merryn&password=grey-gannet-4&again=grey-gannet-4".encode()
    status, ended, _, _ = fetch(mine, once, sent)
    assert (status, ended) == (200, address(running) + "/accounts/boat/")
    assert not token.exists()
    assert fetch(browser(), once)[0] == 404


def test_sigterm_stops_it_cleanly_and_the_owner_is_not_asked_for_again(running, folder):
    assert running.stop() == 0
    assert running.said.endswith("Stopped.\n")
    assert "Traceback" not in running.said
    later = Running(folder, "--port", "0")
    later.wait_for("Ctrl-C stops it.")
    assert "accounts/first" not in later.said
    assert later.stop(signal.SIGINT) == 0
    assert not (folder / "first_token").exists()


def test_a_network_without_names_is_no_hindrance(monkeypatch):
    tried = []

    def refuse():
        tried.append("asked")
        raise OSError("no multicast here")

    monkeypatch.setattr(serving, "Zeroconf", refuse)
    monkeypatch.setattr(serving, "network_numbers", lambda: ["192.168.7.3"])
    with serving._named("0.0.0.0", 8000):
        inside = True
    assert inside
    assert tried == ["asked"]


def test_only_a_local_name_is_answered_to(settings):
    settings.REFIT_ADDRESS = "http://gull.local:8000"
    assert serving.local_name() == "gull.local"
    settings.REFIT_ADDRESS = "https://yard.example.org"
    assert serving.local_name() == ""


def test_serving_on_all_shows_the_network_first_and_this_machine_last(monkeypatch):
    monkeypatch.setattr(serving, "network_numbers", lambda: ["192.168.7.3"])
    assert serving.addresses("0.0.0.0", 80) == ["http://192.168.7.3:80", "http://127.0.0.1:80"]
    assert serving.addresses("192.168.7.3", 80) == ["http://192.168.7.3:80"]
    assert serving.addresses("::1", 80) == ["http://[::1]:80"]


def test_the_machine_knows_its_numbers_without_loopback():
    for number in serving.network_numbers():
        socket.inet_aton(number)
        assert not number.startswith("127.")


def test_a_camera_reads_the_code_in_the_terminal():
    """Each character is two modules, one over the other; a reader of other people's making reads them."""
    drawn = serving.terminal_code("http://192.168.7.3:8000")
    lit = {"█": (1, 1), "▀": (1, 0), "▄": (0, 1), " ": (0, 0), "\xa0": (0, 0)}
    rows = [line for line in drawn.splitlines() if line]
    width = max(map(len, rows))
    cells = np.array([[lit[mark] for mark in line.ljust(width)] for line in rows])
    modules = cells.transpose(0, 2, 1).reshape(-1, width)
    picture = np.kron(modules, np.ones((6, 6))).astype(np.uint8) * 255
    assert [found.text for found in zxingcpp.read_barcodes(picture)] == ["http://192.168.7.3:8000"]
