"""What tests build their world with: settings, people and a plant, a running product, a browser."""
