"""Serving the program on the boat's own network with cheroot, until it is told to stop.

Decides which addresses are shown and how the server starts and stops. The name on the network (zeroconf) is a
convenience: where it cannot be had, everything works by number.
"""

import io
import signal
import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from typing import Any
from urllib.parse import urlsplit

import ifaddr  # comes with zeroconf, which finds its networks by it
import qrcode
from cheroot.wsgi import Server
from django.conf import settings
from django.contrib.auth.models import User
from django.core.wsgi import get_wsgi_application
from django.db import connections
from zeroconf import ServiceInfo, Zeroconf

from refit.boat import first

THREADS = 10
ANY = ("0.0.0.0", "::", "")
SERVICE = "_http._tcp.local."

Say = Callable[[str], None]


class CannotServe(Exception):
    """The server cannot start; the sentence says why and what to do."""


def prepare_folder() -> None:
    """Make the data folder, readable by its owner only."""
    settings.DATA_DIR.mkdir(parents=True, exist_ok=True, mode=0o700)


def serve(host: str, port: int, *, say: Say, with_code: bool = False) -> None:
    """Serve until Ctrl-C or SIGTERM; say the addresses first, with a code for a phone's camera if wanted."""
    server = Server((host, port), get_wsgi_application(), numthreads=THREADS, server_name="refit")
    server.shutdown_timeout = 5
    try:
        server.prepare()
    except OSError as problem:
        raise CannotServe(_why_not(problem, host, port)) from None
    actual = server.bind_addr[1]
    with _stopping_when_told(server), _named(host, actual):
        _announce(host, actual, say, with_code)
        try:
            server.serve()
        except (KeyboardInterrupt, SystemExit):
            pass
        finally:
            server.stop()
            connections.close_all()
    say("Stopped.")


def addresses(host: str, port: int) -> list[str]:
    """Return the addresses to reach the program at, the one for phones first."""
    if host not in ANY:
        return [f"http://{f'[{host}]' if ':' in host else host}:{port}"]
    found = [*network_numbers(), "127.0.0.1"]
    return [f"http://{number}:{port}" for number in found]


def network_numbers() -> list[str]:
    """Return this machine's numbers on its networks, the one that leads furthest first. Nothing is sent."""
    found = [str(ip.ip) for adapter in ifaddr.get_adapters() for ip in adapter.ips if ip.is_IPv4]
    numbers = [number for number in found if not number.startswith(("127.", "169.254."))]
    with suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        # Connecting a datagram socket only asks the machine which way it would send.
        probe.connect(("10.255.255.255", 9))
        routed = probe.getsockname()[0]
        numbers.sort(key=lambda number: number != routed)
    return numbers


def local_name() -> str:
    """Return the .local name that labels lead to, or nothing where they lead to another kind of name."""
    name = (urlsplit(settings.REFIT_ADDRESS).hostname or "").lower()
    return name if name.endswith(".local") else ""


def terminal_code(address: str) -> str:
    """Return a QR code of an address, drawn with characters for a terminal."""
    code = qrcode.QRCode(border=2)
    code.add_data(address)
    drawn = io.StringIO()
    code.print_ascii(out=drawn, invert=True)
    return drawn.getvalue()


def _announce(host: str, port: int, say: Say, with_code: bool) -> None:
    reachable = addresses(host, port)
    say("\nOpen one of these, on this machine or a phone on the same network:")
    if local_name() and host in ANY:
        say(f"  http://{local_name()}:{port}   (where the network knows names)")
    for address in reachable:
        say(f"  {address}")
    if (urlsplit(settings.REFIT_ADDRESS).port or 80) != port:
        say(f"Labels lead to {settings.REFIT_ADDRESS}; set REFIT_ADDRESS if that is not this program.")
    if with_code:
        say("\n" + terminal_code(reachable[0]))
    if not User.objects.exists():
        say("\nNobody can sign in yet. To make the owner, open this address once:")
        say(f"  {reachable[0]}/accounts/first/{first.token()}/")
    say("\nCtrl-C stops it.")
    connections.close_all()


def _why_not(problem: OSError, host: str, port: int) -> str:
    if "in use" in str(problem):
        return (
            f"Port {port} is taken by another program; stop that one, or choose another: --port {port + 1}."
        )
    if "ermission" in str(problem):
        return f"Port {port} needs more rights than this account has; choose one above 1023: --port 8000."
    return f"This machine cannot serve on {host} port {port}; try --host 0.0.0.0 --port 8000."


@contextmanager
def _stopping_when_told(server: Server) -> Iterator[None]:
    """Let SIGTERM and Ctrl-C stop the server, however it was begun."""

    def stop(number: int, frame: Any) -> None:
        # In a thread of its own: raised in here, it could be lost in whatever code happens to run.
        threading.Thread(target=server.stop, daemon=True).start()

    # Both: a program begun in the background is given a Ctrl-C that it would ignore.
    before = {number: signal.signal(number, stop) for number in (signal.SIGTERM, signal.SIGINT)}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


@contextmanager
def _named(host: str, port: int) -> Iterator[None]:
    """Answer to the labels' .local name while serving, where the network allows; never wait for it."""
    name, numbers = local_name(), network_numbers()
    if not name or not numbers or host not in ANY:
        yield
        return
    opened: list[Zeroconf] = []
    naming = threading.Thread(target=_answer_to, args=(name, numbers, port, opened), daemon=True)
    naming.start()
    try:
        yield
    finally:
        naming.join(timeout=3)
        for zeroconf in opened:
            with suppress(Exception):
                zeroconf.close()


def _answer_to(name: str, numbers: list[str], port: int, opened: list[Zeroconf]) -> None:
    # A network without multicast, another machine of this name: whatever it is, the numbers still work.
    with suppress(Exception):
        zeroconf = Zeroconf()
        opened.append(zeroconf)
        short = name.removesuffix(".local")
        about = ServiceInfo(
            SERVICE,
            f"{short} {port}.{SERVICE}",
            addresses=[socket.inet_aton(number) for number in numbers],
            port=port,
            server=f"{name}.",
        )
        zeroconf.register_service(about, allow_name_change=True)
