"""Form fields as racers type, and what is wrong with them at the field."""
