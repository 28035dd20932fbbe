"""The screens above the desk."""
