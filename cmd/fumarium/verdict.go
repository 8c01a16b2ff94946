package main

import (
	"context"
	"log/slog"
	"time"

	"fumarium/controller/record"
	"fumarium/controller/snapshot"
)

// noteVerdict keeps on the record what could be said of a batch as it ended. A replay finds
// it again, should the program go before it is written.
func noteVerdict(records *record.Recorder, batch string, s *snapshot.Snapshot, log *slog.Logger) {
	_, text, known := s.Ending()
	if batch == "" || !known {
		return
	}
	log.Info(text, "batch", batch)
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
	defer cancel()
	if err := records.AddNote(ctx, moment(time.Now()), batch, record.Note{Who: "fumarium", Text: text}); err != nil {
		log.Error("the verdict was not kept; replay finds it again", "batch", batch, "err", err)
	}
}
