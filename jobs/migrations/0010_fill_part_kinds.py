"""Give parts and bike changes a kind of the new list, from their flags and their former choice.

A part with several flags gets a kind that joins them. Parts without a flag said nothing about road use, so
they get no kind. The same is done to what the histories hold.
"""

from itertools import chain

from django.db import migrations

# name, for parts, for changes, effect on road use, in words, insurer or authority to be told, caution
KINDS = [
    ('part as built, renewed or refitted', True, False, 'none', '', False, ''),
    ('put back as built, or taken off', False, True, 'none', '', False, ''),
    ('brakes', True, True, 'may', 'Changed brakes may need an approval of their own.', True, 'Parts of the brakes were changed: brake gently until they have bedded in.'),
    ('anti-lock brakes or a rider aid', True, True, 'may', 'A rider aid that is changed or switched off may affect how the bike is approved and insured.', True, 'A rider aid acts otherwise than before: try it where there is room before relying on it.'),
    ('gearing', True, True, 'may', 'With changed gearing, speedometer, noise and emissions may differ from what was approved.', True, 'The gearing was changed: the speedometer may show otherwise than before.'),
    ('suspension', True, True, 'may', 'Changed suspension may alter height, geometry and headlamp aim, and may need an approval.', True, ''),
    ('steering or handlebar', True, True, 'may', 'Changed steering parts or another handlebar may need an approval of their own.', True, ''),
    ('frame or swing arm', True, True, 'may', "A changed frame or swing arm may end the bike's approval for the road.", True, ''),
    ('wheel', True, True, 'may', 'A wheel of another size or make may need an approval, and may limit which tyres may be used.', True, ''),
    ("tyre as the bike's papers name it", True, True, 'none', '', False, ''),
    ('tyre', True, True, 'may', "A tyre of another size, kind or marking than the bike's papers name may need an entry in them.", False, ''),
    ('tyre not for the road', True, True, 'race', 'A tyre without a marking for road use may be unlawful on public roads.', True, ''),
    ('silencer', True, True, 'may', 'Another silencer may be louder than the bike is approved for.', True, ''),
    ('exhaust', True, True, 'may', 'With a changed exhaust, emissions and noise may no longer meet the law.', True, ''),
    ('catalyst', True, True, 'may', 'With another catalyst, exhaust emissions may no longer meet the law.', True, ''),
    ('catalyst taken out', True, True, 'race', 'Without its catalyst, the bike may be unlawful on public roads.', True, ''),
    ('intake', True, True, 'may', 'With a changed intake, emissions and noise may no longer meet the law.', True, ''),
    ('air box', True, True, 'may', 'With a changed air box, emissions and noise may no longer meet the law.', True, ''),
    ('air filter', True, True, 'may', 'With another air filter, emissions and noise may no longer meet the law.', False, ''),
    ('emission control part', True, True, 'may', 'With an emission control part changed, disabled or taken off, emissions may no longer meet the law.', True, ''),
    ('sensor taken off or disabled', True, True, 'may', 'With a sensor taken off or disabled, exhaust emissions may no longer meet the law.', True, ''),
    ('control unit or added module', True, True, 'may', 'Another control unit or an added module may change power, noise and emissions in ways not recorded.', True, ''),
    ('power or speed limiter', True, True, 'may', 'A raised or removed limiter may change approval, insurance and the licence that the rider needs.', True, 'The bike may go faster than tyres, brakes and insurance are meant for: keep to them.'),
    ('engine part, not as built', True, True, 'may', 'An engine part other than as built may change power, noise and emissions.', True, ''),
    ('lights, indicators or reflectors', True, True, 'may', 'Changed lights, indicators or reflectors may need an approval mark of their own.', False, ''),
    ('mirrors', True, True, 'may', 'Changed mirrors may need an approval mark of their own.', False, ''),
    ('number plate or its holder', True, True, 'may', 'Place, angle and light of the number plate may no longer be as required.', False, ''),
    ('horn or speedometer', True, True, 'may', 'A changed horn or speedometer may no longer be as required.', False, ''),
    ('seat or footrests', True, True, 'may', 'A changed seat or footrests may affect for how many riders the bike is approved.', False, ''),
    ('bodywork, screen or guards', True, True, 'may', "Changed bodywork, screen or guards may need an approval or an entry in the bike's papers.", False, ''),
    ('stand or luggage', True, True, 'may', "A changed stand or luggage carrier may need an approval or an entry in the bike's papers.", False, ''),
    ('road equipment taken off', True, True, 'race', 'Without lights, mirrors, horn or plate the bike may be unlawful on public roads.', True, ''),
    ('fuel', False, True, 'none', '', False, ''),
    ('fuel not sold for the road', False, True, 'may', 'With a fuel that is not sold for the road, emissions may no longer meet the law.', False, 'The engine is set for this fuel: with another one it may knock or run too lean.'),
    ('something else', True, True, 'may', 'This may affect whether the bike may be ridden on the road.', True, ''),
]
FUELS = ('fuel', 'fuel not sold for the road')
FLAGS = ('gearing', 'exhaust', 'intake', 'brakes', 'suspension')
FORMER = {'gearing': 'gearing', 'tyre': 'tyre', 'fuel': 'fuel', 'other': 'something else'}
STEP = 10


def make_kind(apps, **values):
    """Create a kind with the history that its own save would leave, unless there is one of this name."""
    PartKind = apps.get_model('jobs', 'PartKind')
    if PartKind.objects.filter(name=values['name']).exists():
        return PartKind.objects.get(name=values['name'])
    History = apps.get_model('jobs', 'HistoricalPartKind')
    kind = PartKind.objects.create(**values)
    History.objects.create(
        id=kind.pk,
        history_date=kind.created_at,
        history_type='+',
        created_at=kind.created_at,
        updated_at=kind.updated_at,
        **values,
    )
    return kind


def fill(apps, schema_editor):
    models = [apps.get_model('jobs', name) for name in ('Part', 'HistoricalPart')]
    changes = [apps.get_model('jobs', name) for name in ('BikeChange', 'HistoricalBikeChange')]
    fill_tune_kinds(apps)
    if not any(model.objects.exists() for model in chain(models, changes)):
        return  # a new shop gets the list from jobs.defaults
    kinds = {}
    for place, (name, parts, others, road_use, effect, inform, caution) in enumerate(KINDS, start=1):
        kinds[name] = make_kind(
            apps,
            name=name,
            for_parts=parts,
            for_changes=others,
            road_use=road_use,
            road_use_effect=effect,
            inform=inform,
            customer_caution=caution,
            is_fuel=name in FUELS,
            order=place * STEP,
        )
    for model in models:
        for part in model.objects.all():
            flags = [name for name in FLAGS if getattr(part, 'changes_' + name)]
            if flags:
                model.objects.filter(pk=part.pk).update(kind=joined(apps, kinds, flags).pk)
    for model in changes:
        for former, name in FORMER.items():
            model.objects.filter(former_kind=former).update(kind=kinds[name].pk)


def joined(apps, kinds, flags):
    """Return the kind of a part with these flags, which is created if there are several."""
    name = ' and '.join(flags)
    if name not in kinds:
        single = [kinds[flag] for flag in flags]
        kinds[name] = make_kind(
            apps,
            name=name,
            for_parts=True,
            for_changes=False,
            road_use='may',
            road_use_effect=(
                f'With changed {name}, the bike may no longer be as the law and its approval ask.'
            ),
            inform=any(kind.inform for kind in single),
            customer_caution=' '.join(filter(None, (kind.customer_caution for kind in single)))[:300],
            is_fuel=False,
            order=STEP * (len(KINDS) + len(kinds)),
            retired=True,
        )
    return kinds[name]


def fill_tune_kinds(apps):
    """Say which tune changes the insurer may have to be told of, and what sensor feedback is as built."""
    TuneChangeKind = apps.get_model('jobs', 'TuneChangeKind')
    TuneChangeKind.objects.filter(affects_road_use=True).update(inform=True)
    TuneChangeKind.objects.filter(name__in=('sensor feedback', 'secondary air system')).update(as_built='on')


class Migration(migrations.Migration):

    dependencies = [
        ('jobs', '0009_kind_of_bike_changes'),
    ]

    operations = [
        migrations.RunPython(fill, migrations.RunPython.noop),
    ]
