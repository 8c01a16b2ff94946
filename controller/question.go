package controller

import (
	"fmt"
	"strconv"
	"strings"
	"time"
)

// A Question is one that a stage or an absence puts to the person. The zero Question names none:
// confirms in records that are older than questions answered whatever waited.
type Question struct {
	Stage int          `record:"stage"` // index into the product's stages
	Part  QuestionPart `record:"question"`
	// Batch is when the batch was started, by the controller's own time in whole milliseconds, so that a page that
	// was left open answers no question of the next one. Zero names none: records that are
	// older name a question of whatever batch ran.
	Batch time.Duration `record:"question_batch"`
	// Absence is the number of the absence of which nobody knows how long it was; then
	// the question is that, and of no stage.
	Absence int `record:"absence"`
}

// QuestionPart says which question of its stage it is.
type QuestionPart uint8

// The parts. Records hold their numbers.
const (
	Unnamed        QuestionPart = iota
	HandStep                    // what the stage asks for as it begins
	firstCondition              // condition i of the stage is firstCondition + i

	// WholeStage names no question but the stage itself, for what a person changes of it.
	WholeStage QuestionPart = 255
)

// In names of questions, as in product files.
const (
	askKey       = "ask"
	conditionKey = "until-"
	stageKey     = "stage"
	absenceKey   = "absence-"
	batchBase    = 36
)

// String is the name by which a person or a client sends the question back: 2-ask is
// the hand step of the second stage, 4-until-1 the first condition of the fourth; what
// follows, as in 2-ask-k3jx9d, is the batch. absence-1-k3jx9d is
// how long the first absence in that batch was of which nobody knows it.
func (q Question) String() string {
	name := fmt.Sprintf("%d-%s", q.Stage+1, askKey)
	switch {
	case q.Absence > 0:
		name = absenceKey + strconv.Itoa(q.Absence)
	case q.Part == WholeStage:
		name = fmt.Sprintf("%d-%s", q.Stage+1, stageKey)
	case q.Part >= firstCondition:
		name = fmt.Sprintf("%d-%s%d", q.Stage+1, conditionKey, q.Part-firstCondition+1)
	}
	if q.Batch > 0 {
		name += "-" + strconv.FormatInt(q.Batch.Milliseconds(), batchBase)
	}
	return name
}

// ParseQuestion reads what String writes, and nothing else.
func ParseQuestion(text string) (q Question, ok bool) {
	rest, isAbsence := strings.CutPrefix(text, absenceKey)
	isCondition := false
	if !isAbsence {
		number, of, _ := strings.Cut(text, "-")
		stage, err := strconv.Atoi(number)
		if err != nil || stage < 1 {
			return Question{}, false
		}
		q.Stage, q.Part = stage-1, HandStep
		if strings.HasPrefix(of, stageKey) {
			q.Part = WholeStage
		}
		rest, isCondition = strings.CutPrefix(of, conditionKey)
	}
	part, batch, named := strings.Cut(rest, "-")
	if named {
		if at, err := strconv.ParseInt(batch, batchBase, 64); err == nil {
			q.Batch = time.Duration(at) * time.Millisecond
		}
	}
	if isCondition || isAbsence {
		i, err := strconv.ParseUint(part, 10, 16)
		if err != nil || i < 1 || isCondition && i > 200 {
			return Question{}, false
		}
		if q.Absence = int(i); isCondition {
			q.Part, q.Absence = firstCondition+QuestionPart(i-1), 0
		}
	}
	return q, q.String() == text
}

// answers reports whether who has read q answers the question that waits.
func (q Question) answers(waits Question) bool {
	if q.Batch == 0 { // of old
		waits.Batch = 0
	}
	return q == waits || q.Part == Unnamed && q.Absence == 0
}

// Question is the one that waits for the person, if any.
func (s *State) Question() (Question, bool) {
	q := Question{Stage: s.Stage, Batch: s.Started.Truncate(time.Millisecond)}
	switch {
	case !s.Batch.Active():
		return Question{}, false
	case s.Absence.unknown:
		q.Stage, q.Absence = 0, s.Absence.number
	case s.Asking:
		q.Part = HandStep
	case s.Confirming > 0:
		q.Part = firstCondition + QuestionPart(s.Confirming-1)
	default:
		return Question{}, false
	}
	return q, true
}
