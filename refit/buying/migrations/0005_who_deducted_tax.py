"""A boat that marked a tax as got back could do so: it goes on as one that deducts tax."""

from django.db import migrations


def keep_who_deducted(apps, schema_editor):
    Charge = apps.get_model("buying", "Charge")
    Boat = apps.get_model("boat", "Boat")
    Boat.objects.filter(pk__in=Charge.objects.filter(reclaimable=True).values("boat")).update(deducts_tax=True)


class Migration(migrations.Migration):
    dependencies = [("buying", "0004_steps_of_earlier_orders"), ("boat", "0004_deducts_tax")]

    operations = [migrations.RunPython(keep_who_deducted, migrations.RunPython.noop)]
