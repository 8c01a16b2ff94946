package controller

import (
	"fmt"
	"strconv"
	"strings"
	"time"
)

// A Question is one that a stage puts to the person. The zero Question names none:
// confirms in records that are older than questions answered whatever waited.
type Question struct {
	Stage int          `record:"stage"` // index into the product's stages
	Part  QuestionPart `record:"question"`
	// Batch is when the batch was started, by the controller's own time in whole milliseconds, so that a page that
	// was left open answers no question of the next one. Zero names none: records that are
	// older name a question of whatever batch ran.
	Batch time.Duration `record:"question_batch"`
}

// QuestionPart says which question of its stage it is.
type QuestionPart uint8

// The parts. Records hold their numbers.
const (
	Unnamed        QuestionPart = iota
	HandStep                    // what the stage asks for as it begins
	firstCondition              // condition i of the stage is firstCondition + i
)

// In names of questions, as in product files.
const (
	askKey       = "ask"
	conditionKey = "until-"
	batchBase    = 36
)

// String is the name by which a person or a client sends the question back: 2-ask is
// the hand step of the second stage, 4-until-1 the first condition of the fourth; what
// follows, as in 2-ask-k3jx9d, is the batch.
func (q Question) String() string {
	part := askKey
	if q.Part >= firstCondition {
		part = conditionKey + strconv.Itoa(int(q.Part-firstCondition)+1)
	}
	if q.Batch > 0 {
		part += "-" + strconv.FormatInt(q.Batch.Milliseconds(), batchBase)
	}
	return fmt.Sprintf("%d-%s", q.Stage+1, part)
}

// ParseQuestion reads what String writes, and nothing else.
func ParseQuestion(text string) (Question, bool) {
	number, rest, _ := strings.Cut(text, "-")
	stage, err := strconv.Atoi(number)
	if err != nil || stage < 1 {
		return Question{}, false
	}
	q := Question{Stage: stage - 1, Part: HandStep}
	of, isCondition := strings.CutPrefix(rest, conditionKey)
	part, batch, named := strings.Cut(of, "-")
	if named {
		if at, err := strconv.ParseInt(batch, batchBase, 64); err == nil {
			q.Batch = time.Duration(at) * time.Millisecond
		}
	}
	if isCondition {
		i, err := strconv.ParseUint(part, 10, 8)
		if err != nil || i < 1 || i > 200 {
			return Question{}, false
		}
		q.Part = firstCondition + QuestionPart(i-1)
	}
	return q, q.String() == text
}

// answers reports whether who has read q answers the question that waits.
func (q Question) answers(waits Question) bool {
	if q.Batch == 0 { // of old
		waits.Batch = 0
	}
	return q == waits || q.Part == Unnamed
}

// Question is the one that waits for the person, if any.
func (s *State) Question() (Question, bool) {
	switch {
	case !s.Batch.Active():
	case s.Asking:
		return Question{s.Stage, HandStep, s.Started.Truncate(time.Millisecond)}, true
	case s.Confirming > 0:
		return Question{s.Stage, firstCondition + QuestionPart(s.Confirming-1), s.Started.Truncate(time.Millisecond)}, true
	}
	return Question{}, false
}
