"""The addresses of buying in time: what to order, the town run, chasing, prices. A part of the table of addresses."""

from refit.boat.rights import Right
from refit.pages.guarding import Address
from refit.pages.views import buy, chase, offers, suppliers, town

BUYING: tuple[Address, ...] = (
    Address("buy/", buy.buy, Right.SEE_MONEY, "buy", methods=("GET",)),
    Address("buy/make/", buy.make, Right.BUY, "buy-make", methods=("POST",)),
    Address("buy/made/<str:orders>/away/", buy.throw_away, Right.BUY, "buy-away", methods=("POST",)),
    Address("buy/town/", town.town, Right.SEE_MONEY, "town", methods=("GET",)),
    Address("buy/town.pdf", town.pdf, Right.SEE_MONEY, "town-pdf", methods=("GET",)),
    Address("buy/town/bought/", town.bought, Right.BUY, "town-bought", methods=("POST",)),
    Address(
        "buy/town/bought/<int:delivery>/back/", town.bring_back, Right.BUY, "town-back", methods=("POST",)
    ),
    Address("buy/town/list/", town.put_on_list, Right.BUY, "town-list", methods=("POST",)),
    Address("buy/town/list/<str:lines>/off/", town.take_off_list, Right.BUY, "town-off", methods=("POST",)),
    Address("buy/chase/", chase.chase, Right.SEE_MONEY, "chase", methods=("GET",)),
    Address("buy/chase/<int:number>/", chase.one, Right.BUY, "chase-one", methods=("GET",)),
    Address("orders/<int:number>/promise/", chase.promise, Right.BUY, "promise", methods=("POST",)),
    Address(
        "orders/<int:number>/promise/<int:pk>/back/",
        chase.promise_back,
        Right.BUY,
        "promise-back",
        methods=("POST",),
    ),
    Address("orders/<int:number>/days/", chase.dates, Right.BUY, "order-dates", methods=("POST",)),
    Address("parts/<int:pk>/prices/", offers.prices, Right.SEE_MONEY, "part-prices"),
    Address("parts/<int:pk>/prices/<int:offer>/", offers.change, Right.BUY, "offer"),
    Address("parts/<int:pk>/prices/<int:offer>/end/", offers.end, Right.BUY, "offer-end", methods=("POST",)),
    Address(
        "parts/<int:pk>/prices/<int:offer>/open/", offers.reopen, Right.BUY, "offer-open", methods=("POST",)
    ),
    Address("suppliers/<int:pk>/terms/", suppliers.terms, Right.BUY, "supplier-terms", methods=("POST",)),
)
