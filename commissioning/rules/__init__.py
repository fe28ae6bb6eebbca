"""The product's rules: pure functions over plain facts. No database, no clock of their own."""
