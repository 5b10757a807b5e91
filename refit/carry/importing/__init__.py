"""The owner's old spreadsheet: guess what is what, check every row, write through the program's own actions."""
