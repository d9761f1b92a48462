// Package sheet reads and writes the rows of the record sheets as people keep
// them: a folder of CSV files, or one XLSX workbook with a page for each sheet.
//
// It knows files, headings and cells: what a CSV file must look like, how a
// spreadsheet keeps dates, numbers and texts and what it makes of them, and where in
// a file a fault stands. It must not know what a row means: the words people write are
// read by package lots (Plain), and turning a row into a record, and whether its codes
// exist, is the affair of package lots and of the store.
//
// # What is read
//
// The first row of a file or page that is not blank is its heading: the
// sheet's column names, in any order, each once, the required ones all there.
// One more column is let through and ignored: fault, which WriteFaulty adds
// with the reason why a row was not taken, so that a mended file can be read
// again as it is. Blank rows are skipped. Spaces at the ends of a cell are
// dropped and all else is kept as printed; a line break inside a cell reads as
// one newline. Texts that begin with = + - or @ are plain texts.
//
// A file or page whose heading is wrong gives no rows at all: reading on
// without the column that is not understood would lose what stands in it.
//
// A cell that shows a spreadsheet's error is a fault, and so is a row of totals. What a
// spreadsheet has probably made of a text, such as 11-Mar or 1.2E+10, and a number that can be
// read two ways, such as 12.000, are warnings. Numbers are written so that nobody
// reads their point as a separator of thousands: 12.3450 for 12.345.
//
// # Workbooks
//
// Cells are read by what the spreadsheet stored. A date is understood in
// columns of time and best_by only: elsewhere it is what a spreadsheet made of
// a text such as 3-4, and what was printed is lost, so it is a fault. The same
// goes for whole numbers of more than 15 digits, which spreadsheets round,
// percentages, error values, formulas without a result and merged cells.
// Pages are known in any case of letters. A workbook that unpacks to far more than its size is
// refused unread. WriteWorkbook writes every cell as text and formats its columns as text.
package sheet
