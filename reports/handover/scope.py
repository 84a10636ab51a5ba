"""How far a sheet goes: what nobody inspected, and what the customer's name on it stands for."""

from django.utils.translation import gettext_noop

NOT_INSPECTED = gettext_noop(
    "This sheet covers only what it lists. Frame, fork, shock absorber, steering, brakes, wheels, tyres, "
    "drive, lights, electrics and everything else were not inspected unless they are listed here. "
    "If a part is not named, do not assume that it is in order."
)
CONFIRMATION = gettext_noop(
    "A name here confirms that the customer received this sheet and read its notices on use on public roads "
    "and on safety. It does not mean that the customer checked the work or found it in order, and it does "
    "not affect anyone's legal rights."
)
