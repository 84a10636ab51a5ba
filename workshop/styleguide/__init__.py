"""The components of the design system on one page, for developers: only where DEBUG is on."""
