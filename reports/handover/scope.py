"""How far a sheet goes: what nobody inspected, and what the customer's name on it stands for."""

NOT_INSPECTED = (
    "This sheet speaks only of what it lists. Frame, fork, shock absorber, steering, brakes, wheels, tyres, "
    "drive, lights, electrics and everything else were not inspected unless they are listed here. "
    "That a part is not named does not mean that it is in order."
)
CONFIRMATION = (
    "A name here confirms that this sheet was received and its notices on use on public roads and on safety "
    "were read. It does not say that the customer checked the work or found it in order, "
    "and it gives up no right that the law gives."
)
