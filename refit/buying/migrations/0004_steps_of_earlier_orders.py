"""Write down what the orders already placed come to, as of the day of ordering; how they came to it is not known."""

from collections import defaultdict

from django.db import migrations


def write_down(apps, schema_editor):
    """Give each order that stands in sums one step for each of its systems."""
    line_model, step_model = apps.get_model("buying", "Line"), apps.get_model("buying", "CostStep")
    sums = defaultdict(int)
    rows = line_model.objects.filter(counted=True).values_list(
        "boat_id", "order_id", "system_id", "order__ordered_on", "landed"
    )
    for boat, order, system, day, landed in rows.iterator():
        sums[(boat, order, system, day)] += landed
    steps = [
        step_model(
            boat_id=boat, order_id=order, system_id=system, counts_from=day, placing=True, difference=landed
        )
        for (boat, order, system, day), landed in sums.items()
    ]
    step_model.objects.bulk_create(steps, batch_size=200)


class Migration(migrations.Migration):
    dependencies = [("buying", "0003_cost_steps")]

    operations = [migrations.RunPython(write_down, migrations.RunPython.noop)]
