"""`print_labels`: a PDF whose labels all read, or one clear sentence and no file."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
import zxingcpp
from django.core.management import CommandError, call_command

from refit.boat.actions import labels, places
from refit.boat.models import Kind
from refit.carry.labels import labelled, never_printed
from tests.synthetic import pages_of

ROOT = Path(__file__).resolve().parents[2]


def codes_on(pdf: Path) -> list[str]:
    return [
        code.text
        for page in pages_of(pdf.read_bytes(), 300)
        for code in zxingcpp.read_barcodes(page, formats=zxingcpp.BarcodeFormat.QRCode)
    ]


def test_writes_every_labelled_place_in_use(make, tmp_path, settings, capsys):
    settings.REFIT_ADDRESS = "http://boat.local:8000"
    box = make.place("B1", kind=Kind.BOX, parent=make.place("S1"))
    gone = make.place("P1")
    places.retire_empty(gone, None)
    labels.mint(make.boat, 2)
    wanted = {f"HTTP://BOAT.LOCAL:8000/L/{place.code}" for place in (box, box.parent)}
    out = tmp_path / "labels.pdf"
    call_command("print_labels", make.boat.slug, str(out))
    assert set(codes_on(out)) == wanted
    assert "2 labels on 1 sheet" in capsys.readouterr().out
    assert os.listdir(tmp_path) == ["labels.pdf"]


def test_takes_stock_first_place_and_nudge(make, tmp_path):
    for number in range(3):
        make.place(f"S{number}")
    out = tmp_path / "labels.pdf"
    options = {"stock": "letter-30", "first_place": 29, "nudge_x": 1.5, "nudge_y": -1.0}
    call_command("print_labels", make.boat.slug, str(out), **options)
    assert len(pages_of(out.read_bytes(), 50)) == 2
    assert len(codes_on(out)) == 3


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"stock": "papyrus"}, "no label stock"),
        ({"first_place": 22}, "places 1 to 21"),
        ({"nudge_x": 9.0}, "at most 5 mm"),
        ({"nudge_y": float("nan")}, "at most 5 mm"),
    ],
)
def test_refuses_a_choice_that_cannot_be_printed(make, tmp_path, options, words):
    make.place("S3")
    with pytest.raises(CommandError, match=words):
        call_command("print_labels", make.boat.slug, str(tmp_path / "labels.pdf"), **options)
    assert os.listdir(tmp_path) == []


def test_refuses_an_address_too_long_for_the_label(make, tmp_path, settings):
    settings.REFIT_ADDRESS = "http://" + "a" * 400
    make.place("S3")
    with pytest.raises(CommandError, match="characters"):
        call_command("print_labels", make.boat.slug, str(tmp_path / "labels.pdf"))
    assert os.listdir(tmp_path) == []


def test_refuses_an_unknown_boat_and_names_those_there(make, tmp_path):
    with pytest.raises(CommandError, match=make.boat.slug):
        call_command("print_labels", "nobody", str(tmp_path / "labels.pdf"))


def test_refuses_a_boat_without_lockers(make, tmp_path):
    with pytest.raises(CommandError, match="nothing to print"):
        call_command("print_labels", make.boat.slug, str(tmp_path / "labels.pdf"))
    assert os.listdir(tmp_path) == []


@pytest.mark.parametrize("where", ["no-such-folder/labels.pdf", "a-folder", "a-folder/pipe"])
def test_refuses_a_file_that_cannot_be_written(make, tmp_path, where):
    make.place("S3")
    (tmp_path / "a-folder").mkdir()
    os.mkfifo(tmp_path / "a-folder" / "pipe")
    with pytest.raises(CommandError, match="could not be written"):
        call_command("print_labels", make.boat.slug, str(tmp_path / where))
    assert os.listdir(tmp_path) == ["a-folder"]


def test_says_one_sentence_and_fails_where_there_is_no_database(tmp_path):
    env = {key: value for key, value in os.environ.items() if key != "DATABASE_URL"}
    env["REFIT_DATA"] = str(tmp_path / "data")
    done = subprocess.run(
        [sys.executable, "manage.py", "print_labels", "nobody", str(tmp_path / "labels.pdf")],
        cwd=ROOT,
        env=env,
        capture_output=True,
        text=True,
    )
    assert done.returncode != 0
    assert "Traceback" not in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1
    assert not (tmp_path / "labels.pdf").exists()


def test_never_printed_follows_the_label_that_is_stuck_on(make):
    place = make.place("S3")
    labels.mark_printed(place.labels.all())
    assert list(never_printed(make.boat)) == []
    labels.bind(labels.mint(make.boat, 1)[0], place)
    assert list(never_printed(make.boat)) == list(labelled(make.boat)) == [place]
