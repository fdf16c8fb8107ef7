"""The whole job in the virtual darkroom."""
