"""What each person sees first after signing in."""
