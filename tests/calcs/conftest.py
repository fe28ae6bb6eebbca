"""Properties are judged by what they find, not by how long a busy machine takes."""

from hypothesis import settings

settings.register_profile("calcs", deadline=None)
settings.load_profile("calcs")
