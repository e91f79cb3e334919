"""The exercise sheet that a student works on."""
