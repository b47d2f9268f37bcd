//! Records as Apache Parquet: one group of rows after another, compressed with Snappy.

use super::take::Sink;
use super::{Kind, Read, Row, RowFault, Shape, TABLE, Table, TransferError};
use parquet::basic::{Compression, LogicalType, Repetition, Type as Physical};
use parquet::data_type::{ByteArray, ByteArrayType, Int64Type};
use parquet::errors::ParquetError;
use parquet::file::properties::WriterProperties;
use parquet::file::reader::SerializedFileReader;
use parquet::file::writer::{SerializedFileWriter, SerializedRowGroupWriter};
use parquet::record::Field;
use parquet::record::reader::RowIter;
use parquet::schema::types::Type;
use rusqlite::types::Value;
use std::fs::File;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Rows that are kept in memory until their group is written.
const ROWS_A_GROUP: usize = 20_000;

pub(super) struct ParquetSink {
    writer: SerializedFileWriter<File>,
    path: PathBuf,
    columns: Vec<Kept>,
    n_rows: usize,
}

pub(super) struct ParquetRows {
    rows: RowIter<'static>,
    path: PathBuf,
    number: u64,
}

/// What a group holds of a column: the values, and which rows have one.
enum Kept {
    Integers(Vec<i64>, Vec<i16>),
    Bytes(Vec<ByteArray>, Vec<i16>),
}

impl ParquetSink {
    pub fn new(file: File, path: &Path, shape: &Shape) -> Result<ParquetSink, TransferError> {
        let fault = fault(path);
        let schema = schema(shape).map_err(&fault)?;
        let properties = WriterProperties::builder().set_compression(Compression::SNAPPY);
        let properties = Arc::new(properties.build());
        Ok(ParquetSink {
            writer: SerializedFileWriter::new(file, Arc::new(schema), properties)
                .map_err(&fault)?,
            path: path.to_owned(),
            columns: shape.all.iter().map(|(_, kind)| Kept::new(*kind)).collect(),
            n_rows: 0,
        })
    }

    fn write_group(&mut self) -> Result<(), ParquetError> {
        if self.n_rows == 0 {
            return Ok(());
        }
        let mut group = self.writer.next_row_group()?;
        for kept in &mut self.columns {
            kept.write(&mut group)?;
        }
        group.close()?;
        self.n_rows = 0;
        Ok(())
    }
}

impl Sink for ParquetSink {
    fn row(&mut self, _: &Shape, table: &Table, values: &[Value]) -> Result<(), TransferError> {
        self.columns[0].push(&Value::Text(table.name.clone()));
        for (column, value) in table.columns.iter().zip(values) {
            self.columns[column.place].push(value);
        }
        self.n_rows += 1;
        let n_rows = self.n_rows;
        self.columns.iter_mut().for_each(|kept| kept.fill(n_rows));
        if n_rows >= ROWS_A_GROUP {
            self.write_group().map_err(fault(&self.path))?;
        }
        Ok(())
    }

    fn finish(mut self: Box<Self>, _: &Shape) -> Result<File, TransferError> {
        let path = self.path.clone();
        self.write_group().map_err(fault(&path))?;
        let ParquetSink { writer, .. } = *self;
        writer.into_inner().map_err(fault(&path))
    }
}

impl Kept {
    fn new(kind: Kind) -> Kept {
        match kind {
            Kind::Integer => Kept::Integers(Vec::new(), Vec::new()),
            Kind::Text | Kind::Bytes => Kept::Bytes(Vec::new(), Vec::new()),
        }
    }

    fn push(&mut self, value: &Value) {
        match (self, value) {
            (Kept::Integers(values, levels), Value::Integer(number)) => {
                values.push(*number);
                levels.push(1);
            }
            (Kept::Bytes(values, levels), Value::Text(text)) => {
                values.push(ByteArray::from(text.as_str()));
                levels.push(1);
            }
            (Kept::Bytes(values, levels), Value::Blob(bytes)) => {
                values.push(ByteArray::from(bytes.clone()));
                levels.push(1);
            }
            // Strict tables hold what their columns say, or null.
            (Kept::Integers(_, levels) | Kept::Bytes(_, levels), _) => levels.push(0),
        }
    }

    /// The row has nothing in this column, unless something was pushed.
    fn fill(&mut self, n_rows: usize) {
        match self {
            Kept::Integers(_, levels) | Kept::Bytes(_, levels) => levels.resize(n_rows, 0),
        }
    }

    fn write(
        &mut self,
        group: &mut SerializedRowGroupWriter<'_, File>,
    ) -> Result<(), ParquetError> {
        let missing = || ParquetError::General("a column of the schema has no writer".to_owned());
        let mut column = group.next_column()?.ok_or_else(missing)?;
        match self {
            Kept::Integers(values, levels) => {
                let typed = column.typed::<Int64Type>();
                typed.write_batch(values, Some(levels.as_slice()), None)?;
                values.clear();
                levels.clear();
            }
            Kept::Bytes(values, levels) => {
                let typed = column.typed::<ByteArrayType>();
                typed.write_batch(values, Some(levels.as_slice()), None)?;
                values.clear();
                levels.clear();
            }
        }
        column.close()
    }
}

impl ParquetRows {
    pub fn open(path: &Path) -> Result<ParquetRows, TransferError> {
        let file = File::open(path).map_err(|source| TransferError::Io {
            path: path.to_owned(),
            source,
        })?;
        let reader = SerializedFileReader::new(file).map_err(fault(path))?;
        Ok(ParquetRows {
            rows: RowIter::from_file_into(Box::new(reader)),
            path: path.to_owned(),
            number: 0,
        })
    }

    pub fn next(&mut self) -> Result<Option<Row>, TransferError> {
        self.number += 1;
        let Some(read) = self.rows.next() else {
            return Ok(None);
        };
        let read = read.map_err(fault(&self.path))?;
        let mut row = Row {
            number: self.number,
            table: String::new(),
            cells: Vec::new(),
        };
        for (name, field) in read.into_columns() {
            match field {
                Field::Null => {}
                Field::Str(text) if name == TABLE => row.table = text,
                Field::Str(text) => row.cells.push((name, Read::Text(text))),
                Field::Long(number) => row.cells.push((name, Read::Integer(number))),
                Field::Bytes(bytes) => row.cells.push((name, Read::Bytes(bytes.data().to_vec()))),
                _ => {
                    return Err(TransferError::Row {
                        path: self.path.clone(),
                        number: self.number,
                        fault: RowFault::NotText { column: name },
                    });
                }
            }
        }
        Ok(Some(row))
    }
}

fn schema(shape: &Shape) -> Result<Type, ParquetError> {
    let fields = shape.all.iter().map(|(name, kind)| {
        let (physical, logical) = match kind {
            Kind::Integer => (Physical::INT64, None),
            Kind::Text => (Physical::BYTE_ARRAY, Some(LogicalType::String)),
            Kind::Bytes => (Physical::BYTE_ARRAY, None),
        };
        let builder = Type::primitive_type_builder(name, physical);
        let builder = builder.with_repetition(Repetition::OPTIONAL);
        builder.with_logical_type(logical).build().map(Arc::new)
    });
    let fields: Vec<Arc<Type>> = fields.collect::<Result<_, _>>()?;
    Type::group_type_builder("ledger")
        .with_fields(fields)
        .build()
}

fn fault(path: &Path) -> impl Fn(ParquetError) -> TransferError {
    let path = path.to_owned();
    move |source| TransferError::Parquet {
        path: path.clone(),
        source,
    }
}
