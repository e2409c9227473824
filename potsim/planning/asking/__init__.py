"""What if: one number varied, questions asked backwards, plans scaled and let down."""
