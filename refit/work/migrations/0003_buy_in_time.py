import django.db.models.deletion
import refit.boat.fields
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('auth', '__first__'),
        ('boat', '0004_deducts_tax'),
        ('work', '0002_money_in_full'),
    ]

    operations = [
        migrations.CreateModel(
            name='After',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ],
            options={
                'ordering': ['id'],
            },
        ),
        migrations.CreateModel(
            name='Bag',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('what', models.CharField(help_text='What was taken apart', max_length=120)),
                ('note', models.TextField(blank=True, max_length=2000, verbose_name='how it came apart')),
                ('taken_apart_on', models.DateField()),
                ('back_on', models.DateField(blank=True, help_text='The day it was put together again', null=True)),
            ],
            options={
                'ordering': ['-id'],
                'constraints': [models.CheckConstraint(condition=models.Q(('what', ''), _negated=True), name='bag_says_what')],
            },
        ),
        migrations.CreateModel(
            name='Booking',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('day', models.DateField()),
                ('days', models.PositiveSmallIntegerField(default=1)),
                ('who', models.CharField(max_length=80)),
                ('note', models.CharField(blank=True, max_length=200)),
                ('cancelled_at', models.DateTimeField(blank=True, null=True)),
            ],
            options={
                'ordering': ['day', 'id'],
                'constraints': [models.CheckConstraint(condition=models.Q(('days__gte', 1), ('days__lte', 365)), name='booking_days_in_bounds'), models.CheckConstraint(condition=models.Q(('who', ''), _negated=True), name='booking_says_who')],
            },
        ),
        migrations.CreateModel(
            name='CalendarFeed',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('secret', models.CharField(max_length=64, unique=True)),
                ('made_at', models.DateTimeField(auto_now_add=True)),
            ],
            options={
                'constraints': [models.CheckConstraint(condition=models.Q(('secret__length__gte', 32)), name='calendar_secret_long')],
            },
        ),
        migrations.CreateModel(
            name='DayAway',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('first', models.DateField()),
                ('last', models.DateField()),
                ('why', models.CharField(blank=True, max_length=80)),
            ],
            options={
                'ordering': ['first', 'id'],
                'constraints': [models.CheckConstraint(condition=models.Q(('last__gte', models.F('first'))), name='day_away_right_way_round')],
            },
        ),
        migrations.CreateModel(
            name='Finish',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('done_by', models.CharField(choices=[('owner', 'Owner or crew'), ('firm', 'A firm or licensed trade')], default='owner', max_length=5)),
                ('name', models.CharField(blank=True, max_length=80, verbose_name='person or firm')),
                ('certificate', models.CharField(blank=True, max_length=120)),
                ('method', models.TextField(blank=True, max_length=2000)),
                ('materials', models.CharField(blank=True, max_length=400)),
                ('test_result', models.CharField(blank=True, max_length=200)),
                ('instrument', models.CharField(blank=True, max_length=120)),
                ('entered_at', models.DateTimeField(auto_now_add=True)),
            ],
            options={
                'constraints': [models.CheckConstraint(condition=models.Q(('done_by__in', ['owner', 'firm'])), name='finish_done_by_known'), models.CheckConstraint(condition=models.Q(models.Q(('done_by', 'firm'), _negated=True), models.Q(('name', ''), _negated=True), _connector='OR'), name='finish_firm_named')],
            },
        ),
        migrations.CreateModel(
            name='Hours',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('helper', models.CharField(blank=True, max_length=60, verbose_name='helper without an account')),
                ('day', models.DateField()),
                ('minutes', models.PositiveIntegerField()),
                ('note', models.CharField(blank=True, max_length=200)),
                ('entered_at', models.DateTimeField(auto_now_add=True)),
            ],
            options={
                'verbose_name_plural': 'hours',
                'ordering': ['-day', '-id'],
                'constraints': [models.CheckConstraint(condition=models.Q(('minutes__gte', 1), ('minutes__lte', 1440)), name='hours_of_a_day')],
            },
        ),
        migrations.CreateModel(
            name='JobTrait',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('trait', models.CharField(choices=[('hot', 'Hot work: welding, sparks, heat gun'), ('solvent', 'Solvents'), ('resin', 'Resin'), ('paint', 'Paint or varnish'), ('fuel', 'Fuel'), ('foam', 'Foam or insulation'), ('gas', 'Gas (LPG)'), ('dust', 'Dusty: grinding, sanding'), ('noise', 'Noisy'), ('mains', 'Mains electricity'), ('water', 'Water about'), ('confined', 'Confined space'), ('lithium', 'Lithium batteries'), ('rigging', 'Rigging'), ('steering', 'Steering'), ('lifting', 'Lifting'), ('hull', 'Opening in the hull')], max_length=8)),
            ],
            options={
                'ordering': ['id'],
                'constraints': [models.CheckConstraint(condition=models.Q(('trait__in', ['hot', 'solvent', 'resin', 'paint', 'fuel', 'foam', 'gas', 'dust', 'noise', 'mains', 'water', 'confined', 'lithium', 'rigging', 'steering', 'lifting', 'hull'])), name='job_trait_known')],
            },
        ),
        migrations.CreateModel(
            name='Milestone',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('kind', models.CharField(choices=[('haul_out', 'Haul out'), ('mast', 'Stepping the mast'), ('survey', 'Survey'), ('launch', 'Launch'), ('departure', 'Departure'), ('other', 'Other')], max_length=9)),
                ('name', models.CharField(max_length=60)),
                ('target', models.DateField(blank=True, help_text='The day it should be reached', null=True)),
                ('reached_on', models.DateField(blank=True, null=True)),
            ],
            options={
                'ordering': ['target', 'id'],
                'constraints': [models.CheckConstraint(condition=models.Q(('kind__in', ['haul_out', 'mast', 'survey', 'launch', 'departure', 'other'])), name='milestone_kind_known'), models.CheckConstraint(condition=models.Q(('name', ''), _negated=True), name='milestone_named')],
            },
        ),
        migrations.CreateModel(
            name='WorkTerms',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('weekdays', models.CharField(default='1111110', help_text='Monday to Sunday: 1 is worked, 0 is not', max_length=7)),
                ('margin_days', models.PositiveSmallIntegerField(default=3, help_text='Parts should be here so many days before they are wanted')),
                ('hour_rate', models.BigIntegerField(blank=True, help_text="What an own hour is worth, minor units of the boat's currency", null=True)),
                ('country', models.CharField(blank=True, help_text='Whose public holidays are not worked', max_length=2)),
                ('region', models.CharField(blank=True, max_length=10)),
            ],
            options={
                'constraints': [models.CheckConstraint(condition=models.Q(('weekdays__contains', '1'), ('weekdays__length', 7)), name='work_terms_some_day'), models.CheckConstraint(condition=models.Q(('margin_days__lte', 365)), name='work_terms_margin_in_bounds'), models.CheckConstraint(condition=models.Q(('hour_rate', None), models.Q(('hour_rate__gte', 0), ('hour_rate__lt', 1000000000000)), _connector='OR'), name='work_terms_rate_in_bounds')],
            },
        ),
        migrations.AddField(
            model_name='job',
            name='above_celsius',
            field=models.SmallIntegerField(blank=True, null=True, verbose_name='needs more than, °C'),
        ),
        migrations.AddField(
            model_name='job',
            name='begun_on',
            field=models.DateField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name='job',
            name='cure_days',
            field=models.PositiveSmallIntegerField(default=0, verbose_name='days to cure after it'),
        ),
        migrations.AddField(
            model_name='job',
            name='days',
            field=refit.boat.fields.QuantityField(blank=True, help_text='A day has eight hours: 0.25 is two hours', null=True, verbose_name='days of work'),
        ),
        migrations.AddField(
            model_name='job',
            name='dry',
            field=models.BooleanField(default=False, verbose_name='needs dry weather'),
        ),
        migrations.AddField(
            model_name='job',
            name='found_during',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='led_to', to='work.job'),
        ),
        migrations.AddField(
            model_name='job',
            name='not_before',
            field=models.DateField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name='job',
            name='priority',
            field=models.PositiveSmallIntegerField(choices=[(1, 'First'), (2, 'Normal'), (3, 'Can wait')], default=2),
        ),
        migrations.AddField(
            model_name='job',
            name='sole_use',
            field=models.BooleanField(default=False, verbose_name='nobody else can work there meanwhile'),
        ),
        migrations.AddField(
            model_name='job',
            name='space',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='jobs_here', to='boat.location'),
        ),
        migrations.AddField(
            model_name='jobpaper',
            name='moment',
            field=models.CharField(blank=True, choices=[('', ''), ('before', 'Before'), ('after', 'After')], default='', max_length=6),
        ),
        migrations.AddConstraint(
            model_name='job',
            constraint=models.CheckConstraint(condition=models.Q(('priority__in', [1, 2, 3])), name='job_priority_known'),
        ),
        migrations.AddConstraint(
            model_name='job',
            constraint=models.CheckConstraint(condition=models.Q(('days', None), models.Q(('days__gte', 0), ('days__lte', 1000)), _connector='OR'), name='job_days_in_bounds'),
        ),
        migrations.AddConstraint(
            model_name='job',
            constraint=models.CheckConstraint(condition=models.Q(('cure_days__lte', 365)), name='job_cure_in_bounds'),
        ),
        migrations.AddConstraint(
            model_name='job',
            constraint=models.CheckConstraint(condition=models.Q(('above_celsius', None), models.Q(('above_celsius__gte', -30), ('above_celsius__lte', 60)), _connector='OR'), name='job_celsius_in_bounds'),
        ),
        migrations.AddConstraint(
            model_name='job',
            constraint=models.CheckConstraint(condition=models.Q(('sole_use', False), ('space__isnull', False), _connector='OR'), name='job_sole_use_of_a_space'),
        ),
        migrations.AddConstraint(
            model_name='job',
            constraint=models.CheckConstraint(condition=models.Q(('found_during', models.F('id')), _negated=True), name='job_not_found_by_itself'),
        ),
        migrations.AddConstraint(
            model_name='jobpaper',
            constraint=models.CheckConstraint(condition=models.Q(('moment__in', ['', 'before', 'after'])), name='job_paper_moment_known'),
        ),
        migrations.AddField(
            model_name='after',
            name='after',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='comes_before', to='work.job'),
        ),
        migrations.AddField(
            model_name='after',
            name='boat',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='+', to='boat.boat'),
        ),
        migrations.AddField(
            model_name='after',
            name='job',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='comes_after', to='work.job'),
        ),
        migrations.AddField(
            model_name='bag',
            name='boat',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='bags', to='boat.boat'),
        ),
        migrations.AddField(
            model_name='bag',
            name='by',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddField(
            model_name='bag',
            name='job',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='bags', to='work.job'),
        ),
        migrations.AddField(
            model_name='bag',
            name='place',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='bags', to='boat.location'),
        ),
        migrations.AddField(
            model_name='booking',
            name='boat',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='bookings', to='boat.boat'),
        ),
        migrations.AddField(
            model_name='booking',
            name='job',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='bookings', to='work.job'),
        ),
        migrations.AddField(
            model_name='calendarfeed',
            name='boat',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='+', to='boat.boat'),
        ),
        migrations.AddField(
            model_name='calendarfeed',
            name='member',
            field=models.OneToOneField(on_delete=django.db.models.deletion.CASCADE, related_name='calendar_feed', to='boat.member'),
        ),
        migrations.AddField(
            model_name='dayaway',
            name='boat',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='days_away', to='boat.boat'),
        ),
        migrations.AddField(
            model_name='finish',
            name='boat',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='+', to='boat.boat'),
        ),
        migrations.AddField(
            model_name='finish',
            name='entered_by',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddField(
            model_name='finish',
            name='job',
            field=models.OneToOneField(on_delete=django.db.models.deletion.CASCADE, related_name='finish', to='work.job'),
        ),
        migrations.AddField(
            model_name='hours',
            name='boat',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='+', to='boat.boat'),
        ),
        migrations.AddField(
            model_name='hours',
            name='by',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddField(
            model_name='hours',
            name='job',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='hours', to='work.job'),
        ),
        migrations.AddField(
            model_name='hours',
            name='who',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddField(
            model_name='jobtrait',
            name='boat',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='+', to='boat.boat'),
        ),
        migrations.AddField(
            model_name='jobtrait',
            name='job',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='traits', to='work.job'),
        ),
        migrations.AddField(
            model_name='milestone',
            name='boat',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='milestones', to='boat.boat'),
        ),
        migrations.AddField(
            model_name='milestone',
            name='job',
            field=models.ForeignKey(blank=True, help_text='The job that reaches it, such as lifting in', null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='milestones', to='work.job'),
        ),
        migrations.AddField(
            model_name='workterms',
            name='boat',
            field=models.OneToOneField(on_delete=django.db.models.deletion.CASCADE, related_name='work_terms', to='boat.boat'),
        ),
        migrations.AddConstraint(
            model_name='after',
            constraint=models.UniqueConstraint(fields=('job', 'after'), name='after_once'),
        ),
        migrations.AddConstraint(
            model_name='after',
            constraint=models.CheckConstraint(condition=models.Q(('job', models.F('after')), _negated=True), name='after_not_itself'),
        ),
        migrations.AddConstraint(
            model_name='bag',
            constraint=models.UniqueConstraint(condition=models.Q(('back_on', None)), fields=('place',), name='bag_open_once'),
        ),
        migrations.AddConstraint(
            model_name='hours',
            constraint=models.UniqueConstraint(condition=models.Q(('who__isnull', False)), fields=('job', 'who', 'day'), name='hours_once_member'),
        ),
        migrations.AddConstraint(
            model_name='hours',
            constraint=models.UniqueConstraint(condition=models.Q(('who', None)), fields=('job', 'helper', 'day'), name='hours_once_helper'),
        ),
        migrations.AddConstraint(
            model_name='hours',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('helper', ''), ('who__isnull', False)), models.Q(('who', None), models.Q(('helper', ''), _negated=True)), _connector='OR'), name='hours_of_somebody'),
        ),
        migrations.AddConstraint(
            model_name='jobtrait',
            constraint=models.UniqueConstraint(fields=('job', 'trait'), name='job_trait_once'),
        ),
        migrations.AddConstraint(
            model_name='milestone',
            constraint=models.UniqueConstraint(condition=models.Q(('kind', 'other'), _negated=True), fields=('boat', 'kind'), name='milestone_one_of_kind'),
        ),
    ]
