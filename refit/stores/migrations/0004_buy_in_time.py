import django.db.models.deletion
import refit.boat.fields
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('auth', '__first__'),
        ('boat', '0004_deducts_tax'),
        ('stores', '0003_needs_have_a_day'),
        ('work', '0003_buy_in_time'),
    ]

    operations = [
        migrations.CreateModel(
            name='Companion',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('words', models.CharField(blank=True, max_length=120)),
                ('quantity', refit.boat.fields.QuantityField(default=1, help_text='So many for one of the part')),
                ('is_tool', models.BooleanField(default=False, verbose_name='a tool: comes back, is not used up')),
            ],
            options={
                'ordering': ['is_tool', 'id'],
                'constraints': [models.CheckConstraint(condition=models.Q(('quantity__gt', 0)), name='companion_some')],
            },
        ),
        migrations.CreateModel(
            name='KitContent',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('quantity', refit.boat.fields.QuantityField(default=1)),
            ],
            options={
                'ordering': ['id'],
                'constraints': [models.CheckConstraint(condition=models.Q(('quantity__gt', 0)), name='kit_content_some')],
            },
        ),
        migrations.CreateModel(
            name='KitList',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('name', models.CharField(max_length=80)),
            ],
            options={
                'ordering': ['name'],
                'constraints': [models.CheckConstraint(condition=models.Q(('name', ''), _negated=True), name='kit_list_named')],
            },
        ),
        migrations.CreateModel(
            name='KitListLine',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('words', models.CharField(blank=True, max_length=200)),
                ('quantity', refit.boat.fields.QuantityField(default=1)),
            ],
            options={
                'ordering': ['id'],
                'constraints': [models.CheckConstraint(condition=models.Q(('quantity__gt', 0)), name='kit_list_line_some')],
            },
        ),
        migrations.RemoveConstraint(
            model_name='entry',
            name='entry_kind_known',
        ),
        migrations.RemoveConstraint(
            model_name='lot',
            name='lot_once_dated',
        ),
        migrations.RemoveConstraint(
            model_name='lot',
            name='lot_once_undated',
        ),
        migrations.RemoveConstraint(
            model_name='lot',
            name='lot_says_something',
        ),
        migrations.RemoveConstraint(
            model_name='movement',
            name='movement_reason_known',
        ),
        migrations.AddField(
            model_name='lot',
            name='condition',
            field=models.CharField(blank=True, choices=[('', ''), ('good', 'Good'), ('overhaul', 'To overhaul'), ('scrap', 'Scrap'), ('short', 'Incomplete')], default='', max_length=8),
        ),
        migrations.AddField(
            model_name='lot',
            name='note',
            field=models.CharField(blank=True, max_length=200),
        ),
        migrations.AddField(
            model_name='lot',
            name='number',
            field=models.PositiveIntegerField(blank=True, help_text='Of a piece, or of what was taken off the boat', null=True),
        ),
        migrations.AddField(
            model_name='need',
            name='bag',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='needs', to='work.bag'),
        ),
        migrations.AddField(
            model_name='need',
            name='must_fit',
            field=models.CharField(blank=True, help_text='Size, thread, what it must fit', max_length=120),
        ),
        migrations.AddField(
            model_name='need',
            name='one_piece',
            field=models.BooleanField(default=False, verbose_name='in one piece'),
        ),
        migrations.AddField(
            model_name='need',
            name='reserved',
            field=refit.boat.fields.QuantityField(default=0, help_text='So much in the stores is kept for it'),
        ),
        migrations.AddField(
            model_name='need',
            name='reserved_lot',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='reserved_for', to='stores.lot'),
        ),
        migrations.AddField(
            model_name='need',
            name='wanted_by',
            field=models.DateField(blank=True, help_text="The job's start unless typed", null=True),
        ),
        migrations.AddField(
            model_name='part',
            name='bits_under',
            field=refit.boat.fields.QuantityField(default=0, help_text="In the part's unit; nought keeps every end", verbose_name='ends shorter than this go to bits'),
        ),
        migrations.AddField(
            model_name='part',
            name='in_pieces',
            field=models.BooleanField(default=False, verbose_name='kept in pieces, each with its length'),
        ),
        migrations.AddField(
            model_name='part',
            name='no_air',
            field=models.BooleanField(default=False, verbose_name='may not go by air'),
        ),
        migrations.AddField(
            model_name='part',
            name='sets_of',
            field=models.PositiveSmallIntegerField(default=1, verbose_name='fitted in sets of'),
        ),
        migrations.AddField(
            model_name='part',
            name='side',
            field=models.CharField(blank=True, choices=[('', ''), ('port', 'Port'), ('starboard', 'Starboard')], default='', max_length=9),
        ),
        migrations.AlterField(
            model_name='entry',
            name='kind',
            field=models.CharField(choices=[('take', 'Taken'), ('put_in', 'Put in'), ('move', 'Moved'), ('count', 'Counted'), ('correct', 'Corrected and taken'), ('missing', 'Not there'), ('level', 'Level'), ('delivery', 'Arrived'), ('return', 'Sent back'), ('cut', 'Cut'), ('kit', 'Kit opened'), ('off', 'Taken off the boat'), ('undo', 'Undone')], max_length=8),
        ),
        migrations.AlterField(
            model_name='movement',
            name='reason',
            field=models.CharField(choices=[('delivered', 'arrived'), ('opening', 'put in'), ('used', 'used'), ('found', 'counted, more'), ('lost', 'counted, fewer'), ('moved', 'moved'), ('level', 'level said'), ('returned', 'sent back'), ('cut', 'cut'), ('bits', 'too short, to bits'), ('kit', 'kit opened'), ('off', 'taken off the boat'), ('undone', 'undone')], max_length=9),
        ),
        migrations.AddConstraint(
            model_name='entry',
            constraint=models.CheckConstraint(condition=models.Q(('kind__in', ['take', 'put_in', 'move', 'count', 'correct', 'missing', 'level', 'delivery', 'return', 'cut', 'kit', 'off', 'undo'])), name='entry_kind_known'),
        ),
        migrations.AddConstraint(
            model_name='lot',
            constraint=models.UniqueConstraint(condition=models.Q(('expires_on__isnull', False), ('number', None)), fields=('part', 'serial', 'expires_on'), name='lot_once_dated'),
        ),
        migrations.AddConstraint(
            model_name='lot',
            constraint=models.UniqueConstraint(condition=models.Q(('expires_on', None), ('number', None)), fields=('part', 'serial'), name='lot_once_undated'),
        ),
        migrations.AddConstraint(
            model_name='lot',
            constraint=models.UniqueConstraint(condition=models.Q(('number__isnull', False)), fields=('part', 'number'), name='lot_number_once'),
        ),
        migrations.AddConstraint(
            model_name='lot',
            constraint=models.CheckConstraint(condition=models.Q(('expires_on', None), ('number', None), ('serial', ''), _negated=True), name='lot_says_something'),
        ),
        migrations.AddConstraint(
            model_name='lot',
            constraint=models.CheckConstraint(condition=models.Q(('condition__in', ['', 'good', 'overhaul', 'scrap', 'short'])), name='lot_condition_known'),
        ),
        migrations.AddConstraint(
            model_name='lot',
            constraint=models.CheckConstraint(condition=models.Q(('condition', ''), ('number__isnull', False), _connector='OR'), name='lot_condition_of_a_thing'),
        ),
        migrations.AddConstraint(
            model_name='movement',
            constraint=models.CheckConstraint(condition=models.Q(('reason__in', ['delivered', 'opening', 'used', 'found', 'lost', 'moved', 'level', 'returned', 'cut', 'bits', 'kit', 'off', 'undone'])), name='movement_reason_known'),
        ),
        migrations.AddConstraint(
            model_name='need',
            constraint=models.CheckConstraint(condition=models.Q(('reserved__gte', 0), ('reserved__lte', models.F('quantity'))), name='need_reserves_what_it_wants'),
        ),
        migrations.AddConstraint(
            model_name='need',
            constraint=models.CheckConstraint(condition=models.Q(('reserved', 0), ('part__isnull', False), _connector='OR'), name='need_reserves_a_part'),
        ),
        migrations.AddConstraint(
            model_name='part',
            constraint=models.CheckConstraint(condition=models.Q(('side__in', ['', 'port', 'starboard'])), name='part_side_known'),
        ),
        migrations.AddConstraint(
            model_name='part',
            constraint=models.CheckConstraint(condition=models.Q(('sets_of__gte', 1), ('sets_of__lte', 1000)), name='part_sets_in_bounds'),
        ),
        migrations.AddConstraint(
            model_name='part',
            constraint=models.CheckConstraint(condition=models.Q(('bits_under__gte', 0)), name='part_bits_not_negative'),
        ),
        migrations.AddConstraint(
            model_name='part',
            constraint=models.CheckConstraint(condition=models.Q(('in_pieces', False), ('kept', 'counted'), _connector='OR'), name='part_pieces_are_counted'),
        ),
        migrations.AddField(
            model_name='companion',
            name='boat',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='+', to='boat.boat'),
        ),
        migrations.AddField(
            model_name='companion',
            name='other',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='goes_with', to='stores.part'),
        ),
        migrations.AddField(
            model_name='companion',
            name='part',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='needs_with', to='stores.part'),
        ),
        migrations.AddField(
            model_name='kitcontent',
            name='boat',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='+', to='boat.boat'),
        ),
        migrations.AddField(
            model_name='kitcontent',
            name='kit',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='contents', to='stores.part'),
        ),
        migrations.AddField(
            model_name='kitcontent',
            name='part',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='in_kits', to='stores.part'),
        ),
        migrations.AddField(
            model_name='kitlist',
            name='boat',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='kit_lists', to='boat.boat'),
        ),
        migrations.AddField(
            model_name='kitlistline',
            name='boat',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='+', to='boat.boat'),
        ),
        migrations.AddField(
            model_name='kitlistline',
            name='kit_list',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='lines', to='stores.kitlist'),
        ),
        migrations.AddField(
            model_name='kitlistline',
            name='part',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='stores.part'),
        ),
        migrations.AddConstraint(
            model_name='companion',
            constraint=models.UniqueConstraint(fields=('part', 'other'), name='companion_once'),
        ),
        migrations.AddConstraint(
            model_name='companion',
            constraint=models.CheckConstraint(condition=models.Q(('other', None), ('words', ''), _negated=True), name='companion_says_what'),
        ),
        migrations.AddConstraint(
            model_name='companion',
            constraint=models.CheckConstraint(condition=models.Q(('other', models.F('part')), _negated=True), name='companion_not_itself'),
        ),
        migrations.AddConstraint(
            model_name='kitcontent',
            constraint=models.UniqueConstraint(fields=('kit', 'part'), name='kit_content_once'),
        ),
        migrations.AddConstraint(
            model_name='kitcontent',
            constraint=models.CheckConstraint(condition=models.Q(('kit', models.F('part')), _negated=True), name='kit_not_in_itself'),
        ),
        migrations.AddConstraint(
            model_name='kitlist',
            constraint=models.UniqueConstraint(fields=('boat', 'name'), name='kit_list_name_once'),
        ),
        migrations.AddConstraint(
            model_name='kitlistline',
            constraint=models.CheckConstraint(condition=models.Q(('part', None), ('words', ''), _negated=True), name='kit_list_line_says_what'),
        ),
    ]
