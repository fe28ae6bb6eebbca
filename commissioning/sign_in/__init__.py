"""How people get in: what the product decides where django-allauth asks, and how long a session lasts."""
