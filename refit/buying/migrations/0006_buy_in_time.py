import django.db.models.deletion
import refit.boat.fields
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('auth', '__first__'),
        ('boat', '0004_deducts_tax'),
        ('buying', '0005_who_deducted_tax'),
        ('stores', '0004_buy_in_time'),
    ]

    operations = [
        migrations.CreateModel(
            name='Offer',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('price', models.DecimalField(decimal_places=4, help_text='For one as sold', max_digits=15)),
                ('currency', models.CharField(max_length=3)),
                ('pack_size', refit.boat.fields.QuantityField(default=1, help_text='Units in one as sold: 1 coil = 100 m')),
                ('with_tax', models.BooleanField(default=True, verbose_name='the price has tax in it')),
                ('lead_days', models.PositiveSmallIntegerField(blank=True, null=True)),
                ('surface_days', models.PositiveSmallIntegerField(blank=True, null=True)),
                ('seen_on', models.DateField()),
                ('web', models.CharField(blank=True, max_length=200, verbose_name='web address')),
                ('note', models.CharField(blank=True, max_length=200)),
                ('ended_at', models.DateTimeField(blank=True, null=True)),
            ],
            options={
                'ordering': ['-seen_on', '-id'],
                'constraints': [models.CheckConstraint(condition=models.Q(('price__gte', 0)), name='offer_price_not_negative'), models.CheckConstraint(condition=models.Q(('pack_size__gt', 0)), name='offer_pack_some'), models.CheckConstraint(condition=models.Q(('currency__length', 3)), name='offer_currency_three')],
            },
        ),
        migrations.CreateModel(
            name='Promise',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('day', models.DateField(blank=True, help_text='Nothing: they do not know', null=True)),
                ('who', models.CharField(blank=True, max_length=80, verbose_name='who said so')),
                ('said_on', models.DateField()),
                ('note', models.CharField(blank=True, max_length=200)),
                ('entered_at', models.DateTimeField(auto_now_add=True)),
            ],
            options={
                'ordering': ['said_on', 'id'],
            },
        ),
        migrations.AddField(
            model_name='line',
            name='need',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='lines', to='stores.need'),
        ),
        migrations.AddField(
            model_name='order',
            name='chase_on',
            field=models.DateField(blank=True, help_text='The day to ask after it', null=True),
        ),
        migrations.AddField(
            model_name='order',
            name='claim_by',
            field=models.DateField(blank=True, help_text='The last day to claim damage or a refund', null=True),
        ),
        migrations.AddField(
            model_name='order',
            name='return_by',
            field=models.DateField(blank=True, help_text='The last day on which it may go back', null=True),
        ),
        migrations.AddField(
            model_name='supplier',
            name='claim_days',
            field=models.PositiveSmallIntegerField(blank=True, help_text='Damage is to be claimed within so many days', null=True),
        ),
        migrations.AddField(
            model_name='supplier',
            name='country',
            field=models.CharField(blank=True, help_text='Whose public holidays they keep', max_length=2),
        ),
        migrations.AddField(
            model_name='supplier',
            name='free_freight_from',
            field=models.BigIntegerField(blank=True, help_text='Carriage is free from this sum of goods, minor units of their currency', null=True),
        ),
        migrations.AddField(
            model_name='supplier',
            name='in_working_days',
            field=models.BooleanField(default=False, verbose_name='they count working days'),
        ),
        migrations.AddField(
            model_name='supplier',
            name='is_shop',
            field=models.BooleanField(default=False, verbose_name='a shop we go to'),
        ),
        migrations.AddField(
            model_name='supplier',
            name='lead_days',
            field=models.PositiveSmallIntegerField(blank=True, help_text='As a rule; unknown is asked, never nought', null=True, verbose_name='days until it is here'),
        ),
        migrations.AddField(
            model_name='supplier',
            name='region',
            field=models.CharField(blank=True, max_length=10),
        ),
        migrations.AddField(
            model_name='supplier',
            name='return_days',
            field=models.PositiveSmallIntegerField(blank=True, help_text='Goods may go back so many days after they came', null=True),
        ),
        migrations.AddField(
            model_name='supplier',
            name='surface_days',
            field=models.PositiveSmallIntegerField(blank=True, help_text='For goods that may not go by air', null=True, verbose_name='days by land or sea'),
        ),
        migrations.AddField(
            model_name='supplier',
            name='usual_freight',
            field=models.BigIntegerField(blank=True, help_text='Carriage below that sum, minor units of their currency', null=True),
        ),
        migrations.AddConstraint(
            model_name='supplier',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('free_freight_from', None), ('free_freight_from__gte', 0), _connector='OR'), models.Q(('usual_freight', None), ('usual_freight__gte', 0), _connector='OR')), name='supplier_sums_not_negative'),
        ),
        migrations.AddField(
            model_name='offer',
            name='boat',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='offers', to='boat.boat'),
        ),
        migrations.AddField(
            model_name='offer',
            name='part',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='offers', to='stores.part'),
        ),
        migrations.AddField(
            model_name='offer',
            name='supplier',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='offers', to='buying.supplier'),
        ),
        migrations.AddField(
            model_name='promise',
            name='boat',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='+', to='boat.boat'),
        ),
        migrations.AddField(
            model_name='promise',
            name='by',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddField(
            model_name='promise',
            name='order',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='promises', to='buying.order'),
        ),
    ]
