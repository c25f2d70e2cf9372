"""Published values as objects with unit, uncertainty, source and status: ``constants.PARIS_POINT_MM.value``."""

# Each subject's module says in its own __all__ which values it holds; naming them here again would be a second list.
from fitkit.constants import bicycle, body, effects, measuring, shoes
from fitkit.constants.bicycle import *  # noqa: F403
from fitkit.constants.body import *  # noqa: F403
from fitkit.constants.effects import *  # noqa: F403
from fitkit.constants.measuring import *  # noqa: F403
from fitkit.constants.published import STATUSES, Published
from fitkit.constants.shoes import *  # noqa: F403

__all__ = [
    "STATUSES",
    "Published",
    *bicycle.__all__,
    *body.__all__,
    *effects.__all__,
    *measuring.__all__,
    *shoes.__all__,
]
