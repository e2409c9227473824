"""Pictures: axes in, axes out; nothing is shown or saved here."""
