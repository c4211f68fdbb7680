"""What is printed: schematic, build sheet, meter checks. SVG and HTML, no widgets."""
