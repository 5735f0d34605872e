"""What every paper by ReportLab stands on: type, sheet, blocks. Plain values in, bytes out."""
