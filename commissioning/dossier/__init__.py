"""The handover dossier: frozen content in, the same bytes out, signed and checked."""
