"""The cautions of the trade, each worded once."""

DISCARD = (
    "Bad smell, slime or odd colour: discard. That they are absent proves nothing. "
    "Follow your local food rules and qualified advice."
)
WARM = (
    "Warm hours can't be undone, and meat that looks and smells right isn't thereby safe: "
    "toxins have no smell and cooking doesn't remove them. If in doubt, discard."
)
MOLD = (
    "Mold: white, dry and powdery is usually the wanted coat, though that proves nothing. "
    "Green or grey: wipe with vinegar and watch. "
    "Black, yellow, orange, pink, or any under the casing: discard."
)
READY = (
    "Reaching the target weight is not a safety result: what is in the centre is estimated, not measured. "
    "Keep it at 4 °C or below, and have its water activity measured before you sell it, give it away or "
    "store it warm. "
)
UNPROVEN = "How well such dates hold was tried on simulated pieces only, not yet on real meat."
