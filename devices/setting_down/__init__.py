"""Setting_down."""
