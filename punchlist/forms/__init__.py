"""What people type about punch items; what is wrong with it stands beside the field."""
