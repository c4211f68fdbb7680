"""What a chapter shows: controls, figures, sentences, tables. The only floor that knows ipywidgets and plotly."""
