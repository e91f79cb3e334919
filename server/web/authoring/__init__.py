"""The author's sheet: changing, checking and publishing an exercise."""
