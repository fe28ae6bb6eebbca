"""How records are written in the API, and what it takes to make them; one module a subject."""
