"""What every page is made of: page state, controls, plot, sections, form, tasks, player, share, keepsake."""
