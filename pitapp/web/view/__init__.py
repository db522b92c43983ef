"""What every page shows: navigation, icons, theme, plots."""
