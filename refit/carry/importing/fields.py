"""What a sheet can be about, and what its columns can say: the kinds, their fields, and the headings people use.

Decides nothing about a file; it is the list that guessing, checking, the page and the empty templates share.
"""

from dataclasses import dataclass

from refit.calc.text import fold

TEXT, MONEY, QUANTITY, NUMBER, DAY, EXPIRY, CHOICE, CURRENCY, YES = (
    "text", "money", "quantity", "number", "day", "expiry", "choice", "currency", "yes",
)  # fmt: skip


@dataclass(frozen=True)
class Field:
    """One thing a column can say. `headings` are ways to write its heading, split at |."""

    key: str
    label: str
    type: str
    headings: str
    most: int = 120  # characters
    example: str = ""

    @property
    def folded(self) -> frozenset[str]:
        return frozenset(fold(word) for word in (self.label + "|" + self.headings).split("|") if word.strip())


@dataclass(frozen=True)
class Kind:
    """What one sheet is about. `needs` names the fields without which it cannot be that."""

    key: str
    label: str
    needs: tuple[tuple[str, ...], ...]  # of each group at least one
    fields: tuple[Field, ...]

    def field(self, key: str) -> Field | None:
        return next((field for field in self.fields if field.key == key), None)


_SYSTEM = Field(
    "system", "System", TEXT, "category|group|kategori|kategorie|catégorie|area of boat|department", 60, "Rig"
)
_NOTE = Field(
    "note", "Note", TEXT, "notes|comment|comments|remark|remarks|anmerkung|anmärkning|remarque", 300
)
_NUMBER = Field(
    "number", "Part number", TEXT,
    "part no|part no.|number|no|no.|nr|sku|item no|item number|art no|art.nr|art.nr.|artnr|artikelnummer|article no|"
    "code|product code|maker's number|manufacturer number|mpn|catalogue no|référence|part #|p/n|pn",
    60, "IM-2210",
)  # fmt: skip
_PART_FIELDS = (
    Field("name", "Part", TEXT, "name|part name|description|item|product|thing|what|article|artikel|benämning|"
          "bezeichnung|beskrivning|désignation|descripción|omschrijving|spare", 120, "Impeller"),
    Field("specification", "Specification", TEXT, "spec|specs|details|size|dimensions|model|type", 300, "Nitrile, 6 blades"),
    _NUMBER,
    Field("number_kind", "Kind of number", CHOICE, "number kind|whose number", 20),
    Field("others", "Other numbers", TEXT, "other numbers|alternative numbers|alternatives|superseded", 300),
    Field("maker", "Maker", TEXT, "manufacturer|make|brand|hersteller|tillverkare|fabricant", 80),
    Field("gtin", "Barcode", TEXT, "ean|gtin|upc|bar code", 14),
    _SYSTEM,
    Field("unit", "Unit", CHOICE, "units|uom|enhet|einheit|unité", 20, "each"),
    Field("kept", "Kept", CHOICE, "how kept|counted or level", 20),
    Field("minimum", "Least to carry", QUANTITY, "least|minimum|min|min stock|reorder level|minimum stock|par", 20, "2"),
    Field("spare", "Spare to carry", YES, "spare|is spare|spares", 20),
    Field("weight", "Weight of one, kg", NUMBER, "weight|weight kg|kg|weight of one|vikt|gewicht|poids", 20),
    Field("hazard", "Hazard class", CHOICE, "hazard|imdg|dangerous goods", 60),
)  # fmt: skip
_MARK = Field("mark", "Place", TEXT, "mark|locker|location|locker no|bin|shelf|where|stowed|stowage|stored in|plats|ort|"
              "lagerplatz|emplacement|lieu|box|place mark", 80, "S3")  # fmt: skip
_AREA = Field("area", "Area", TEXT, "cabin|room|zone|compartment|utrymme|bereich", 80, "Saloon")

KINDS: tuple[Kind, ...] = (
    Kind("systems", "Systems and budgets", (("name",), ("group", "budget")), (
        Field("name", "System", TEXT, "name|category", 60, "Rig"),
        Field("group", "Group", CHOICE, "groups|kind", 40, "Hull"),
        Field("budget", "Budget", MONEY, "budgeted|allowance|estimate", 20, "4500"),
    )),
    Kind("suppliers", "Suppliers", (("name",),), (
        Field("name", "Supplier", TEXT, "name|seller|vendor|shop|company|leverantör|lieferant|fournisseur|proveedor", 80,
              "Northgate Chandlery"),
        Field("web", "Web address", TEXT, "web|website|url|homepage|site|link", 200, "example.org"),
        Field("currency", "Currency", CURRENCY, "cur|valuta|währung|devise", 10, "GBP"),
        _NOTE,
        Field("contact", "Contact", TEXT, "phone|telephone|email|e-mail|mail|address|account|account no", 200),
    )),
    Kind("places", "Places", (("mark", "name"),), (
        Field("mark", "Mark", TEXT, "place|locker|locker no|bin|box|place mark", 80, "S3"),
        Field("name", "Name", TEXT, "place name|description|locker name", 80, "Settee, starboard"),
        _AREA,
        Field("inside", "In", TEXT, "inside|within|parent|is in", 100),
        Field("kind", "Kind", CHOICE, "type", 20, "Locker"),
        Field("where", "Aboard or ashore", CHOICE, "aboard|ashore", 20, "Aboard"),
        _NOTE,
    )),
    Kind("parts", "Parts", (("name", "number"),), _PART_FIELDS),
    Kind("stock", "Places and stock", (("name", "number"), ("mark", "place_name")), (
        _MARK,
        Field("place_name", "Place name", TEXT, "locker name|place description", 80, "Settee, starboard"),
        _AREA,
        *_PART_FIELDS,
        Field("quantity", "Quantity", QUANTITY, "quantity here|qty|count|how many|in stock|stock|on board|aboard|antal|"
              "menge|anzahl|quantité|cantidad|aantal|pcs|amount", 20, "3"),
        Field("level", "Level", CHOICE, "how much|state of stock", 20),
        Field("expires", "Good until", EXPIRY, "expiry|expires|expiry date|expires on|best before|use by|date marked|"
              "exp|valid until|bäst före|ablauf", 20, "03/28"),
        Field("serial", "Batch or serial", TEXT, "serial|serial number|serial no|batch|lot", 60),
    )),
    Kind("jobs", "Jobs", (("title",),), (
        Field("job_number", "Job number", TEXT, "job|job no|no|no.|nr|number|#|id", 100, "1"),
        Field("title", "Title", TEXT, "job title|task|what|work|description|to do|todo|item|arbete|aufgabe|tâche|job name",
              120, "Renew the standing rigging"),
        _SYSTEM,
        Field("state", "State", CHOICE, "status|progress|done", 30, "Planned"),
        Field("before", "To be done", CHOICE, "before|when|due|priority|deadline", 30, "Before launch"),
        Field("given_to", "Given to", TEXT, "who|by|assigned to|responsible|contractor", 100),
        Field("done_on", "Done on", DAY, "done date|date done|finished|completed|completed on", 20),
        Field("note", "Note", TEXT, "notes|comment|comments|remarks|details|anmerkung", 4000),
    )),
    Kind("orders", "Orders with lines", (("supplier",), ("description", "number"), ("price", "total", "goods")), (
        Field("order", "Order", TEXT, "our order|our number", 60),
        Field("reference", "Reference", TEXT, "order no|order no.|order number|order ref|order reference|order #|ref|"
              "ref.|invoice|invoice no|invoice number|po|po number|bestellnummer|ordernummer|order id|their reference",
              60, "NC-1042"),
        Field("supplier", "Supplier", TEXT, "seller|vendor|shop|bought from|from|store|company|payee|leverantör|"
              "lieferant|händler|fournisseur|proveedor|leverancier", 80, "Northgate Chandlery"),
        Field("date", "Date", DAY, "ordered|ordered on|order date|date ordered|purchase date|bought|bought on|"
              "date bought|datum|fecha|day|invoice date", 20, "2025-11-04"),
        Field("expected", "Expected", DAY, "expected on|due|eta|delivery date|expected delivery", 20),
        Field("arrived", "Arrived", DAY, "arrived on|received|received on|date received|delivered|delivered on|levererad|"
              "geliefert", 20, "2025-11-12"),
        Field("state", "State", CHOICE, "status", 30),
        Field("currency", "Currency", CURRENCY, "cur|ccy|valuta|währung|devise|moneda", 10, "GBP"),
        Field("rate", "Rate", NUMBER, "exchange rate|fx|fx rate|kurs|taux", 20),
        Field("number", "Part number", TEXT, _NUMBER.headings + "|part", 60, "IM-2210"),
        Field("description", "Description", TEXT, "item|name|product|what|goods|item description|product name|article|"
              "artikel|benämning|bezeichnung|beskrivning|désignation|descripción|omschrijving|details|part name|thing",
              200, "Impeller"),
        Field("quantity", "Quantity", QUANTITY, "qty|how many|count|pcs|antal|menge|anzahl|quantité|cantidad|aantal|"
              "amount ordered", 20, "2"),
        Field("unit", "Unit", CHOICE, "units|uom|enhet|einheit", 20, "each"),
        Field("price", "Price each", MONEY, "price|unit price|each|unit cost|cost each|à-pris|pris|preis|einzelpreis|prix|"
              "prix unitaire|precio|prijs|price per unit|net price|cost", 20, "18.50"),
        Field("total", "Price in all", MONEY, "total|line total|amount|sum|in all|total price|total cost|subtotal|summa|"
              "gesamt|gesamtpreis|betrag|montant|importe|belopp|paid|price paid|net amount|spent", 20),
        Field("goods", "Goods, boat's money", MONEY, "goods", 20),
        Field("landed", "Cost all in, boat's money", MONEY, "landed|all in|cost all in", 20),
        Field("job", "Job", TEXT, "for job|job no|task|project|arbete", 140, "Renew the standing rigging"),
        _SYSTEM,
        Field("locker", "Locker", TEXT, "place|location|stowed in|where|bin|for locker|plats", 80, "S3"),
        Field("freight", "Freight", MONEY, "shipping|postage|carriage|delivery|p&p|delivery cost|shipping cost|frakt|"
              "versand|porto", 20, "6.90"),
        Field("duty", "Import duty", MONEY, "duty|customs|tull|zoll|douane", 20),
        Field("tax", "Tax", MONEY, "vat|sales tax|import vat|moms|mwst|tva|iva|gst", 20),
        Field("handling", "Handling", MONEY, "handling fee|courier fee|fee|fees|admin fee", 20),
        Field("discount", "Discount", MONEY, "rebate|money off|rabatt|remise", 20),
        Field("note", "Note", TEXT, "notes|comment|comments|remarks", 500),
    )),
)  # fmt: skip
BY_KEY = {kind.key: kind for kind in KINDS}
# Systems come before what names them, orders after all that their lines name.
ORDER = tuple(kind.key for kind in KINDS)
