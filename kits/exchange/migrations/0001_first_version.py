import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    replaces = [('exchange', '0001_uploads'), ('exchange', '0002_undo_and_headings'), ('exchange', '0003_work_on_uploads'), ('exchange', '0004_result_in_words'), ('exchange', '0005_typed_into_fields'), ('exchange', '0006_ran_by_command'), ('exchange', '0007_meant_as_it_stands'), ('exchange', '0008_rights_by_sheet'), ('exchange', '0009_why_it_is_meant'), ('exchange', '0010_how_files_are_read'), ('exchange', '0011_jobs_entered_by_form'), ('exchange', '0012_jobs_changed_by_form'), ('exchange', '0013_name_the_instructions')]

    initial = True

    dependencies = [
        ('people', '0001_first_version'),
    ]

    operations = [
        migrations.CreateModel(
            name='Upload',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('at', models.DateTimeField()),
                ('state', models.CharField(choices=[('checking', 'Checking'), ('checked', 'Checked'), ('refused', 'Refused'), ('loading', 'Loading'), ('loaded', 'Loaded'), ('withdrawn', 'Withdrawn'), ('undone', 'Undone')], max_length=20)),
                ('replaced', models.JSONField(blank=True, default=list)),
                ('outcome', models.JSONField(blank=True, default=dict)),
                ('loaded_at', models.DateTimeField(blank=True, null=True)),
                ('headings', models.JSONField(blank=True, default=dict)),
                ('origin', models.CharField(choices=[('files', 'Files'), ('pasted', 'Pasted'), ('indented', 'Indented'), ('entered', 'Entered'), ('changed', 'Changed')], default='files', max_length=20)),
                ('undone_at', models.DateTimeField(blank=True, null=True)),
                ('worked_on_at', models.DateTimeField(blank=True, null=True)),
                ('worker', models.CharField(blank=True, max_length=80)),
                ('result', models.CharField(blank=True, max_length=500)),
                ('typed', models.JSONField(blank=True, default=dict)),
                ('ran_by', models.CharField(blank=True, max_length=150)),
                ('meant', models.CharField(blank=True, max_length=64)),
                ('meant_because', models.CharField(blank=True, max_length=300)),
                ('instructions', models.JSONField(blank=True, default=dict)),
                ('by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='uploads', to=settings.AUTH_USER_MODEL)),
                ('loaded_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='loaded_uploads', to=settings.AUTH_USER_MODEL)),
                ('undone_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'ordering': ('-id',),
                'permissions': (('load_settings', 'Can load the sheet Settings'), ('load_holidays', 'Can load the sheet Holidays'), ('load_schedule', 'Can load the sheet Schedule'), ('load_otherneeds', 'Can load the sheet OtherNeeds'), ('load_verdicts', 'Can load the sheet Verdicts'), ('load_places', 'Can load the sheet Places'), ('load_lots', 'Can load the sheet Lots'), ('load_kitcontents', 'Can load the sheet KitContents'), ('load_issued', 'Can load the sheet Issued'), ('load_suppliers', 'Can load the sheet Suppliers'), ('load_offers', 'Can load the sheet Offers'), ('load_orders', 'Can load the sheet Orders'), ('load_items', 'Can load the sheet Items'), ('load_structure', 'Can load the sheet Structure'), ('load_scopes', 'Can load the sheet Scopes'), ('load_kitfits', 'Can load the sheet KitFits'), ('load_findingrules', 'Can load the sheet FindingRules'), ('load_substitutes', 'Can load the sheet Substitutes'), ('load_findings', 'Can load the sheet Findings')),
                'constraints': [models.CheckConstraint(condition=models.Q(('state__in', ['checking', 'checked', 'refused', 'loading', 'loaded', 'withdrawn', 'undone'])), name='upload_state', violation_error_code='upload_state', violation_error_message='State is one of: checking, checked, refused, loading, loaded, withdrawn, undone.'), models.CheckConstraint(condition=models.Q(('origin__in', ['files', 'pasted', 'indented', 'entered', 'changed'])), name='upload_origin', violation_error_code='upload_origin', violation_error_message='Origin is one of: files, pasted, indented, entered, changed.')],
            },
        ),
        migrations.CreateModel(
            name='KeptRows',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('sheet', models.CharField(max_length=50)),
                ('content', models.BinaryField()),
                ('upload', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='kept_rows', to='exchange.upload')),
            ],
            options={
                'ordering': ('id',),
                'constraints': [models.UniqueConstraint(fields=('upload', 'sheet'), name='kept_rows_once_for_each_sheet', violation_error_code='kept_rows_once_for_each_sheet', violation_error_message='The rows of this sheet are kept already for this upload.')],
            },
        ),
        migrations.CreateModel(
            name='UploadedFile',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('name', models.CharField(max_length=255)),
                ('digest', models.CharField(max_length=64)),
                ('content', models.BinaryField()),
                ('upload', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='files', to='exchange.upload')),
            ],
            options={
                'ordering': ('id',),
            },
        ),
        migrations.CreateModel(
            name='HeadingChoice',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('sheet', models.CharField(max_length=50)),
                ('header_set', models.CharField(max_length=64)),
                ('columns', models.JSONField(default=dict)),
                ('at', models.DateTimeField()),
                ('by', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='heading_choices', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'ordering': ('id',),
                'constraints': [models.UniqueConstraint(fields=('by', 'sheet', 'header_set'), name='headings_chosen_once_for_each_set', violation_error_code='headings_chosen_once_for_each_set', violation_error_message='This person has chosen already what these headings mean: change that choice.')],
            },
        ),
    ]
