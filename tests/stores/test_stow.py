def test_probe(make, clean_ledger):
    part = make.part()
    make.stock(part, make.place(), 3)
