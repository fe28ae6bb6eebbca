"""The settings, one room a subject; the defaults run the embedded product on one machine.

What the environment can change stands in deploy/environment.py; a production site with unsafe values does not start.
"""

from django.core.exceptions import ImproperlyConfigured

from .api import *
from .base import *
from .files import *
from .headers import *
from .logs import *
from .mail import *
from .rooms import *
from .security import *
from .sign_in import *
from .unsafe import refusals
from .work import *

if _found := refusals():
    raise ImproperlyConfigured("This is not safe to start in production:\n" + "\n".join(f"- {one}" for one in _found))
