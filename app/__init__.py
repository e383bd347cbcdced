"""What people use: commands, store, studies, reports, pages."""
