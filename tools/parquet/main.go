// Command parquet prints Parquet files as JSON by a reader that the program does
// not write with, Apache Arrow's: a line a column, its values as strings, null
// where there is none. Its own module keeps Arrow out of the program.
//
//	parquet FILE...
package main

import (
	"encoding/json"
	"fmt"
	"os"
	"strconv"

	"github.com/apache/arrow-go/v18/parquet"
	"github.com/apache/arrow-go/v18/parquet/file"
)

type column struct {
	File, Name string
	Type       string // physical and logical
	Values     []*string
}

func main() {
	out := json.NewEncoder(os.Stdout)
	for _, path := range os.Args[1:] {
		if err := read(path, out); err != nil {
			fmt.Fprintf(os.Stderr, "%s: %v\n", path, err)
			os.Exit(1)
		}
	}
}

func read(path string, out *json.Encoder) error {
	f, err := file.OpenParquetFile(path, false)
	if err != nil {
		return err
	}
	defer f.Close()

	schema := f.MetaData().Schema
	for i := range schema.NumColumns() {
		c := schema.Column(i)
		got := column{path, c.Path(), c.PhysicalType().String() + " " + c.LogicalType().String(), []*string{}}
		for g := range f.NumRowGroups() {
			chunk, err := f.RowGroup(g).Column(i)
			if err != nil {
				return err
			}
			values, err := chunkValues(chunk)
			if err != nil {
				return fmt.Errorf("%s: %w", c.Path(), err)
			}
			got.Values = append(got.Values, values...)
		}
		if err := out.Encode(got); err != nil {
			return err
		}
	}
	return nil
}

func chunkValues(chunk file.ColumnChunkReader) ([]*string, error) {
	switch c := chunk.(type) {
	case *file.Int32ColumnChunkReader:
		return values(c, func(v int32) string { return strconv.Itoa(int(v)) })
	case *file.Int64ColumnChunkReader:
		return values(c, func(v int64) string { return strconv.FormatInt(v, 10) })
	case *file.Float64ColumnChunkReader:
		return values(c, func(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) })
	case *file.BooleanColumnChunkReader:
		return values(c, strconv.FormatBool)
	case *file.ByteArrayColumnChunkReader:
		return values(c, func(v parquet.ByteArray) string { return string(v) })
	}
	return nil, fmt.Errorf("type %s is not written by the export", chunk.Type())
}

type batches[T any] interface {
	HasNext() bool
	Err() error
	ReadBatch(n int64, values []T, defined, repeated []int16) (int64, int, error)
}

// values reads a flat column: a level of 0 is a null, and takes no value.
func values[T any](c batches[T], text func(T) string) (out []*string, err error) {
	const n = 1024
	read, defined := make([]T, n), make([]int16, n)
	for c.HasNext() {
		levels, _, err := c.ReadBatch(n, read, defined, nil)
		if err != nil {
			return nil, err
		}
		at := 0
		for _, d := range defined[:levels] {
			if d == 0 {
				out = append(out, nil)
				continue
			}
			s := text(read[at])
			out = append(out, &s)
			at++
		}
	}
	return out, c.Err()
}
