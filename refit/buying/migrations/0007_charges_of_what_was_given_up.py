"""Settle the charges that stayed on lines given up whole: nothing more of them is to come."""

from collections import defaultdict

from django.db import migrations
from django.db.models import F


def settle(apps, schema_editor):
    """Count what such a line bears as come, on the paper that gave up the last of it."""
    line_model, order_model = apps.get_model("buying", "Line"), apps.get_model("buying", "Order")
    row_model = apps.get_model("buying", "DeliveryLine")
    more = defaultdict(int)
    lines = line_model.objects.filter(counted=True, wont_come__gte=F("quantity"), delivered=0).exclude(landed=0)
    for line in list(lines):
        papers = row_model.objects.filter(line=line, delivery__undone_at=None)
        last = papers.order_by("delivery__arrived_on", "id").last()
        if last is None:
            continue
        row_model.objects.filter(pk=last.pk).update(value=line.landed)
        line_model.objects.filter(pk=line.pk).update(delivered=line.landed)
        more[line.order_id] += line.landed
    for order, value in more.items():
        order_model.objects.filter(pk=order).update(delivered=F("delivered") + value)


class Migration(migrations.Migration):
    dependencies = [("buying", "0006_buy_in_time")]

    operations = [migrations.RunPython(settle, migrations.RunPython.noop)]
