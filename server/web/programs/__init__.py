"""A student's programs: versions, comparison, import and export, printing."""
